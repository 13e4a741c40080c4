import { readFileSync, writeFileSync } from 'node:fs';
import { Ajv } from 'ajv';
import { parse } from 'csv-parse/sync';
import { describe, expect, test } from 'vitest';
import { checkName, clockAt, lightAt, renameAt } from '../../src/cli/care.ts';
import { memoryAt } from '../../src/cli/memory.ts';
import { settingsAt } from '../../src/cli/settings.ts';
import { readSettings } from '../../src/protocol/board-care.ts';
import { formatAnswer, parseLine } from '../../src/protocol/line.ts';
import { scratch } from './command.ts';
import { PlaceInProcess } from './place-in-process.ts';

const rows = (path: string) =>
  parse<Record<string, string>>(readFileSync(path, 'utf8'), { columns: true, comment: '#' });

const countOn = (at: PlaceInProcess) => at.with(async (board) => (await board.memory()).count);

describe('memory', () => {
  const fetch = (at: PlaceInProcess, options: Partial<Parameters<typeof memoryAt>[1]>) =>
    at.run((place) => memoryAt(place, { erase: false, ...options }));

  test('lists what is in it, and changes nothing', async () => {
    const at = new PlaceInProcess();
    expect((await fetch(at, {})).said).toContain('empty, with room for 250');
    await at.take(3);
    const { code, said } = await fetch(at, {});
    expect(code).toBe(0);
    expect(said).toContain('holds 3 readings, 1 to 3');
    expect(said.match(/^ +[123] +0 /gm)).toHaveLength(3);
    expect(await countOn(at)).toBe(3);
  });

  test('brings every reading once over links that break, in order, with all that the board said', async () => {
    const at = new PlaceInProcess({}, { build: { hasRange: true } });
    await at.take(12);
    const file = scratch();
    const wire = at.link.open;
    let openings = 0;
    at.link.open = async (listener) => {
      await wire(listener);
      if (++openings < 4) at.board.dropAfter(1200);
    };
    const { code, said } = await fetch(at, { out: file('r.csv'), survey: file('s.csv') });
    expect(code).toBe(0);
    expect(openings).toBeGreaterThan(2);
    expect(said).toContain('Linking again');
    const got = rows(file('r.csv'));
    expect(got.map(({ id }) => Number(id))).toEqual(Array.from({ length: 12 }, (_, i) => i + 1));
    const last = await at.with((board) => board.recall(12));
    expect(got[11]).toMatchObject({
      ax: String(last.acc[0]),
      mz: String(last.mag[2]),
      range_m: String(last.range),
      supply_v: '3.9',
    });
    expect(rows(file('s.csv')).map(({ range_m: range }) => range)).toEqual(
      got.map(({ range_m: range }) => range),
    );
    expect(said).toContain('12 of them without angles');
  });

  test('erases what is in the file, and not what was taken since', async () => {
    const at = new PlaceInProcess();
    await at.take(3);
    const out = scratch()('r.csv');
    const { code, said } = await fetch(at, { out, erase: true });
    expect(code).toBe(0);
    expect(said).toContain('forgotten its readings up to 3');
    expect(rows(out)).toHaveLength(3);
    await at.take(1);
    expect(await at.with((board) => board.memory())).toMatchObject({ first: 4, last: 4, count: 1 });
  });

  test('says whether the erase was done when the link is lost in the midst of it', async () => {
    const at = new PlaceInProcess();
    await at.take(2);
    const { open, write } = at.link;
    const file = scratch();
    at.link.write = async (bytes) => {
      if (new TextDecoder().decode(bytes).includes('erase')) at.board.dropAfter(0);
      else await write(bytes);
    };
    const not = await fetch(at, { out: file('1.csv'), erase: true });
    expect(not.code).toBe(1);
    expect(not.err).toContain('did not erase');
    expect(await countOn(at)).toBe(2);

    at.link.write = write;
    at.link.open = (listener) =>
      open({
        ...listener,
        bytes: (chunk) => {
          if (new TextDecoder().decode(chunk).includes('ok erased')) at.board.dropAfter(0);
          else listener.bytes(chunk);
        },
      });
    const done = await fetch(at, { out: file('2.csv'), erase: true });
    expect(done.said).toContain('Looking what the board still holds');
    expect(done.code).toBe(0);
    at.link.open = open;
    expect(await countOn(at)).toBe(0);
  });

  test('does not write over a file, and erases nothing then', async () => {
    const at = new PlaceInProcess();
    await at.take(1);
    const out = scratch()('r.csv');
    writeFileSync(out, 'mine');
    const { code, err } = await fetch(at, { out, erase: true });
    expect(code).toBe(1);
    expect(err).toContain('there is a file of that name');
    expect(readFileSync(out, 'utf8')).toBe('mine');
    expect(await countOn(at)).toBe(1);
  });

  test('erases nothing while a reading could not be read', async () => {
    const at = new PlaceInProcess();
    await at.take(2);
    const open = at.link.open;
    at.link.open = (listener) =>
      open({ ...listener, bytes: (chunk) => listener.bytes(absurd(chunk)) });
    const out = scratch()('r.csv');
    const { code, said } = await fetch(at, { out, erase: true });
    expect(code).toBe(1);
    expect(said).toContain('Reading 1 makes no sense');
    expect(said).toContain('keeps all its readings');
    at.link.open = open;
    expect(await countOn(at)).toBe(2);
  });
});

/** Cuts at the line's end are kept in the simulator, so a line is put together before it is changed. */
let pending = '';
function absurd(chunk: Uint8Array): Uint8Array {
  const lines = (pending + new TextDecoder().decode(chunk)).split('\n');
  pending = lines.pop()!;
  return Buffer.concat(lines.map((line) => withAbsurdTemperature(line)));
}

function withAbsurdTemperature(text: string): Uint8Array {
  const line = parseLine(text);
  if (typeof line === 'string' || line.kind !== 'answer' || line.fields['reading']?.[0] !== '1') {
    return Buffer.from(`${text}\n`);
  }
  return formatAnswer(line.tag, line.ok, { ...line.fields, temp_c: '999' });
}

describe('settings', () => {
  const at = () => new PlaceInProcess();
  const none = new Map<string, string>();
  const value = (place: PlaceInProcess, name: string) =>
    place.with(async (board) => {
      const { settings } = await readSettings(board);
      return settings.find((each) => each.name === name)?.value;
    });

  test('are shown with what each may be', async () => {
    const { code, out } = await at().run((place) => settingsAt(place, { changes: none }));
    expect(code).toBe(0);
    expect(out).toMatch(
      /^sleep +Sleeps when left alone for +10 min +a whole number from 0 to 120 min; 10 as the maker set it$/m,
    );
    expect(out).toMatch(/^radio .* near or far; near .* when the board starts again$/m);
  });

  test('are changed together and read back, or not at all', async () => {
    const place = at();
    const change = (...pairs: [string, string][]) =>
      place.run((p) => settingsAt(p, { changes: new Map(pairs) }));
    const wrong = await change(['sleep', '121'], ['beep', 'off'], ['glow', '1']);
    expect(wrong.code).toBe(1);
    expect(wrong.err).toContain('sleep: “121” is above 120; it takes a whole number from 0 to 120');
    expect(wrong.err).toContain('no setting “glow”');
    expect(await value(place, 'beep')).toBe('on');
    const { code, out } = await change(['sleep', '20'], ['radio', 'far']);
    expect(code).toBe(0);
    expect(out).toContain('In force as revision 1');
    expect(out).toContain('sleep: 20 (was 10)');
    expect(out).toContain('only when the board has started again');
    expect(await value(place, 'sleep')).toBe('20');
    expect((await change(['sleep', '20'])).out).toContain('so already');
  });

  test('are in force once when the power fails in the midst of it, and the command goes on', async () => {
    for (const write of [1, 40, 200]) {
      const place = at();
      place.board.cutPowerAtWrite(write);
      const { code } = await place.run((p) =>
        settingsAt(p, { changes: new Map([['sleep', '20']]) }),
      );
      expect(code).toBe(0);
      expect(await value(place, 'sleep')).toBe('20');
      expect((await place.with((board) => board.ask('settings', {}))).revision).toBe(1);
    }
  });

  test('saved to a file fit its schema, and are put back on another board of the kind', async () => {
    const one = at();
    await one.run((p) => settingsAt(p, { changes: new Map([['sleep', '25'], ['owner', 'Élise']]) })); // prettier-ignore
    const out = scratch()('settings.json');
    const saved = await one.run((p) => settingsAt(p, { changes: none, out }));
    expect(saved.code).toBe(0);
    const schema = new URL('../../docs/schemas/settings-1.schema.json', import.meta.url);
    const isValid = new Ajv().compile(JSON.parse(readFileSync(schema, 'utf8')));
    isValid(JSON.parse(readFileSync(out, 'utf8')));
    expect(isValid.errors ?? []).toEqual([]);

    const two = new PlaceInProcess({ seed: 9 }, { build: { hasLight: false } });
    const { code, said } = await two.run((p) => settingsAt(p, { changes: none, restore: out }));
    expect(code).toBe(0);
    expect(said).toContain('one of the same kind');
    expect(said).toContain('sleep: 10 now, 25 when it was saved');
    expect(said).toContain('light_off: 30 cannot be put back: that is no longer a setting');
    expect(said).toContain('1 of those saved cannot be');
    expect(await value(two, 'sleep')).toBe('25');
    expect(await value(two, 'owner')).toBe('Élise');
  });

  test('of another kind of board, or from a bad file, are not put on this one', async () => {
    const one = at();
    const file = scratch();
    await one.run((p) => settingsAt(p, { changes: none, out: file('s.json') }));
    const text = readFileSync(file('s.json'), 'utf8');
    const restore = async (changed: string) => {
      writeFileSync(file('t.json'), changed);
      return one.run((p) => settingsAt(p, { changes: none, restore: file('t.json') }));
    };
    expect((await restore(text.replace('simulated 1', 'tin/2'))).err).toContain('the kind “tin/2”');
    expect((await restore(text.replace('"10"', '"1000"'))).err).toContain('settings.1');
    expect((await restore(text.replace('"version": 1', '"version": 2'))).err).toContain('newer');
    expect((await restore('{')).err).toContain('not JSON');
  });

  test('are none on a board that has none, and that is said', async () => {
    const place = new PlaceInProcess({}, { build: { hasSettings: false } });
    const { code, err } = await place.run((p) => settingsAt(p, { changes: none }));
    expect(code).toBe(1);
    expect(err).toContain('has no settings');
  });
});

describe('name, clock and light', () => {
  test('a name is given, read back, and taken away', async () => {
    const at = new PlaceInProcess();
    const { code, out } = await at.run((place) => renameAt(place, 'blue tin'));
    expect(code).toBe(0);
    expect(out).toContain('called “blue tin” now, read back. It was called “Simulated board”');
    expect(await at.with(async ({ identity }) => identity.name)).toBe('blue tin');
    expect((await at.run((place) => renameAt(place, 'blue tin'))).out).toContain('already');
    expect((await at.run((place) => renameAt(place, ''))).out).toContain('no name now');
  });

  test('a name that cannot be is refused before anything is sent', async () => {
    expect(() => checkName('a'.repeat(21))).toThrow('20 bytes');
    expect(() => checkName('a\u0007')).toThrow('control');
    const { code, err } = await new PlaceInProcess().run((place) => renameAt(place, 'éééééééééé'));
    expect(code).toBe(1);
    expect(err).toContain('“éééééééééé” takes 60');
  });

  test('a renaming whose answer is lost is looked up', async () => {
    for (const write of [1, 30, Infinity]) {
      const at = new PlaceInProcess();
      at.board.cutPowerAtWrite(write);
      const { code, said } = await at.run((place) => renameAt(place, 'second'));
      const name = await at.with(async ({ identity }) => identity.name);
      expect(name === 'second').toBe(code === 0);
      expect(said).toContain(code === 0 ? 'called “second” now' : 'still called');
    }
  });

  test('the clock is shown beside ours, and set by it', async () => {
    const at = new PlaceInProcess();
    const now = () => 1_900_000_000_000 + at.clock.now();
    const never = await at.run((place) => clockAt(place, { set: false, now }));
    expect(never.said).toContain('never set');
    const set = await at.run((place) => clockAt(place, { set: true, now }));
    expect(set.code).toBe(0);
    expect(set.out).toContain('It is set, read back');
    at.clock.advance(3_600_000_000); // a thousand hours, at 20 parts in a million fast
    const later = await at.run((place) => clockAt(place, { set: false, now }));
    expect(later.said).toContain('72 s ahead of');
  });

  test('the light goes on with a word for the eyes, and a board without one says so', async () => {
    const at = new PlaceInProcess();
    const on = await at.run((place) => lightAt(place, 'on'));
    expect(on.code).toBe(0);
    expect(on.said).toMatch(/Never look into the light[^]*The light is on/);
    expect((await at.run((place) => lightAt(place, 'off'))).out).toBe('The light is off.\n');
    const without = new PlaceInProcess({}, { build: { hasLight: false, hasClock: false } });
    expect((await without.run((place) => lightAt(place, 'on'))).err).toContain('has no light');
    const now = () => 0;
    expect((await without.run((p) => clockAt(p, { set: true, now }))).err).toContain('no clock');
  });
});
