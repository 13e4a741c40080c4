import { readFileSync } from 'node:fs';
import { toJsonSchema } from '@valibot/to-json-schema';
import { Ajv2020, type ValidateFunction } from 'ajv/dist/2020.js';
import fc from 'fast-check';
import { format, resolveConfig } from 'prettier';
import * as v from 'valibot';
import { expect, it } from 'vitest';
import type { StoredEntry } from '../../src/records/entries.ts';
import { ENTRY_PARTS, ENTRY_SCHEMAS } from '../../src/records/entry-schemas.ts';
import { HEADS, readLogbookFile, Row } from '../../src/records/logbook-file-reader.ts';
import { asWritten, writeLogbook } from '../../src/records/logbook-file.ts';
import { NOTE_SCHEMAS } from '../../src/records/note-schemas.ts';
import type { Note } from '../../src/records/papers.ts';
import { someWorkshopNotes } from './some-notes.ts';
import { BENCH, goodFile, goodFileWithNotes, HOSTILE_FILES } from './hostile-files.ts';
import { walkedEntries } from './whole-walk.ts';

const utf8 = (text: string) => new TextEncoder().encode(text);
const bytesOf = (content: string | Uint8Array) =>
  typeof content === 'string' ? utf8(content) : content;

const SCHEMA = new URL('../../docs/schemas/logbook-2.schema.json', import.meta.url);

/** The schema of such a file, from the schemas that it is read with; `npx vitest -u` writes it anew. */
async function schemaText(): Promise<string> {
  const entry = v.union(Object.values(ENTRY_SCHEMAS));
  const note = v.union(NOTE_SCHEMAS);
  const entries = v.array(v.strictObject({ ...Row.entries, entry }));
  const [one, two] = HEADS;
  const file = v.union([
    v.strictObject({ ...one.entries, entries }),
    v.strictObject({ ...two.entries, entries, notes: v.array(note) }),
  ]);
  const { $schema, ...schema } = toJsonSchema(file, {
    target: 'draft-2020-12',
    typeMode: 'input',
    errorMode: 'ignore',
    definitions: { ...ENTRY_PARTS, entry, note },
  });
  const whole = {
    $schema,
    $id: 'lodebench:logbook-2',
    title: 'A logbook of compass-clinometer boards, versions 1 and 2',
    description:
      'What happened to boards, an entry each, and what was written about several of them together, as docs/files.md has it. Written from the schemas that the program reads such a file with. Beyond it the program wants that no entry of one bench and number, and no note of one id, stands there twice and differs, that a calibration is of one board and a paper of one kind, that a set fits its CRC, that a text has whole characters only, and that numbers of a set are of binary32.',
    ...schema,
  };
  const path = SCHEMA.pathname;
  return format(JSON.stringify(whole), { ...(await resolveConfig(path)), filepath: path });
}

let compiled: ValidateFunction | undefined;
/** The published schema as it stands, compiled once. */
const valid = (): ValidateFunction =>
  (compiled ??= new Ajv2020({ strict: false }).compile(JSON.parse(readFileSync(SCHEMA, 'utf8'))));

async function* inBatches(entries: readonly StoredEntry[], size: number) {
  for (let at = 0; at < entries.length; at += size) yield entries.slice(at, at + size);
}

async function written(
  bench: string,
  entries: readonly StoredEntry[],
  size = 7,
  notes: readonly Note[] = [],
): Promise<string> {
  const head = { exported: '2031-07-01T00:00:00.000Z', bench, holds: {} };
  let text = '';
  for await (const part of writeLogbook(head, inBatches(entries, size), notes)) text += part;
  return text;
}

it('publishes just what it reads', async () => {
  await expect(await schemaText()).toMatchFileSnapshot(SCHEMA.pathname);
});

it('gives back every entry of a whole life that it wrote, and the published schema allows the file', async () => {
  const { bench, entries } = await walkedEntries();
  const text = await written(bench, entries);
  const read = await readLogbookFile(utf8(text));
  expect(read).toMatchObject({ ok: true, bench, holds: {} });
  expect(read.ok && read.entries).toEqual(entries.map((stored) => asWritten(bench, stored)));
  const check = valid();
  check(JSON.parse(text));
  expect(check.errors).toBeNull();
}, 60_000);

it('writes the same file whatever the batches, an entry on each line', async () => {
  const { bench, entries } = await walkedEntries();
  const some = entries.slice(0, 20);
  const text = await written(bench, some, 1);
  for (const size of [2, 19, 20, 500]) expect(await written(bench, some, size)).toBe(text);
  expect(text.split('\n')).toHaveLength(20 + 3);
  expect(await readLogbookFile(utf8(await written(bench, [])))).toMatchObject({ entries: [] });
});

it('keeps whose an entry is that came from another bench', async () => {
  const { entries } = await walkedEntries();
  const foreign = { bench: 'f'.repeat(32), number: 4 };
  const read = await readLogbookFile(utf8(await written(BENCH, [{ ...entries[0]!, foreign }])));
  expect(read.ok && read.entries[0]).toMatchObject(foreign);
});

it('gives back every note that it wrote, whatever a person wrote there, and the published schema allows the file', async () => {
  const check = valid();
  await fc.assert(
    fc.asyncProperty(someWorkshopNotes, async (notes) => {
      const text = await written(BENCH, [], 7, notes);
      expect(JSON.parse(text)).toHaveProperty('version', notes.length > 0 ? 2 : 1);
      const read = await readLogbookFile(utf8(text));
      const unique = [...new Map(notes.map((note) => [note.id, note])).values()];
      expect(read.ok ? read.notes : read).toEqual(unique);
      check(JSON.parse(text));
      expect(check.errors).toBeNull();
    }),
  );
});

it('says to a program that knows of no notes that the file is of a newer version, and is read by it where there are none', async () => {
  const without = JSON.parse(await written(BENCH, [])) as object;
  expect(without).toEqual({ ...goodFile(), exported: '2031-07-01T00:00:00.000Z', entries: [] });
  const file = goodFileWithNotes();
  expect(file.version).toBe(2);
  const read = await readLogbookFile(utf8(JSON.stringify(file)));
  expect(read.ok && read.notes).toEqual(file.notes);
  expect(valid()(file)).toBe(true);
});

it('takes the good file that all hostile ones are made of', async () => {
  const file = goodFile();
  const read = await readLogbookFile(utf8(JSON.stringify(file)));
  expect(read.ok && read.entries).toEqual(file.entries);
  expect(valid()(file)).toBe(true);
});

it('passes over an entry that stands in the file twice and is the same', async () => {
  const file = goodFile();
  file.entries.push(structuredClone(file.entries[0]!));
  const read = await readLogbookFile(utf8(JSON.stringify(file)));
  expect(read.ok && read.entries).toHaveLength(3);
});

for (const { name, content, cause, path, beyondSchema } of HOSTILE_FILES) {
  it(`refuses ${name}, and says where`, async () => {
    const refused = await readLogbookFile(bytesOf(content));
    if (refused.ok) throw new Error('it was taken');
    expect(refused.cause).toBe(cause);
    expect(refused.message).toMatch(/Nothing was changed\.$/);
    if (path !== undefined) expect(refused.problems[0]!.path).toContain(path);
    for (const each of refused.problems) {
      expect(each.path.length + each.what.length).toBeLessThan(400);
      expect(each.path).not.toMatch(/\p{C}|</u);
    }
    expect(({} as { isAdmin?: true }).isAdmin).toBeUndefined();
    const isJson = cause !== 'not_json';
    if (isJson && !beyondSchema) {
      expect(valid()(JSON.parse(new TextDecoder().decode(bytesOf(content))))).toBe(false);
    }
  });
}

it('names many faults at once, and counts those it does not name', async () => {
  const file = goodFile() as unknown as { entries: unknown[] };
  file.entries = Array.from({ length: 50 }, () => ({ bench: BENCH, number: -1, entry: null }));
  const refused = await readLogbookFile(utf8(JSON.stringify(file)));
  if (refused.ok) throw new Error('it was taken');
  expect(refused.problems).toHaveLength(20);
  expect(refused.others).toBe(30);
  expect(refused.message).toContain('50 things are wrong');
});

it('never throws, and takes nothing in, whatever JSON stands where a note or its body should', async () => {
  await fc.assert(
    fc.asyncProperty(fc.jsonValue(), fc.nat(2), fc.boolean(), async (any, place, whole) => {
      const file = goodFileWithNotes() as unknown as { notes: unknown[] };
      file.notes[place] = whole ? any : { ...(file.notes[place] as object), body: any };
      expect((await readLogbookFile(utf8(JSON.stringify(file)))).ok).toBe(false);
    }),
  );
});

it('shows a hostile name of a field short and without control characters', async () => {
  const file = JSON.stringify(goodFile()).replace('"holds":{}', `"holds":{"\\u202e<b>${'x'.repeat(999)}":1}`); // prettier-ignore
  const refused = await readLogbookFile(utf8(file));
  expect(!refused.ok && refused.problems[0]!.path).toMatch(/^holds\["·<b>x{0,40}…"\]$/);
});

it('never throws, and takes nothing in, whatever JSON stands where an entry should', async () => {
  await fc.assert(
    fc.asyncProperty(fc.jsonValue(), fc.nat(2), async (any, place) => {
      const file = goodFile() as unknown as { entries: { entry: unknown }[] };
      file.entries[place]!.entry = any;
      expect((await readLogbookFile(utf8(JSON.stringify(file)))).ok).toBe(false);
    }),
  );
});
