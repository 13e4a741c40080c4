import type { ForeignEntry } from '../../src/records/logbook.ts';
import type { Note } from '../../src/records/papers.ts';

/** Files that pretend to be a logbook: each with where its fault is, as the reader must name it. */

export const BENCH = '0123456789abcdef0123456789abcdef';
const OTHER_BENCH = 'fedcba9876543210fedcba9876543210';

const at = { board: 'WB-1', time: '2021-05-01T08:00:00.000Z' };
const within = { ...at, calibration: 'WB-1 one' };
const captured = () => ({
  reading: 7,
  generation: 1,
  acc: [100, -200.5, 16000],
  mag: [900, 30, -12],
  temperature: 11.5,
});

/** A good file of a few entries. */
export function goodFile() {
  return {
    type: 'lodebench.logbook',
    version: 1,
    exported: '2021-05-02T08:00:00.000Z',
    bench: BENCH,
    holds: {},
    entries: [
      { bench: BENCH, number: 1, entry: { ...at, kind: 'note', text: 'Lent to a friend' } },
      {
        bench: BENCH,
        number: 2,
        entry: {
          ...within,
          kind: 'calibration started',
          plan: { name: 'cube', sightings: [], azimuths: 'absolute' },
        },
      },
      {
        bench: OTHER_BENCH,
        number: 2,
        entry: { ...within, kind: 'reading', id: '7', reading: captured(), sighting: 'north' },
      },
    ] as unknown as ForeignEntry[],
  };
}

const PAPER = 'aaaa456789abcdef0123456789abcdef';
const noted = (n: number, body: object) => ({
  id: n.toString(16).padStart(32, '0'),
  paper: PAPER,
  of: 'workshop',
  time: `2021-05-01T08:0${n}:00.000Z`,
  body,
});

/** The same with notes of a workshop, as a file has it from version 2 on. */
export function goodFileWithNotes() {
  return {
    ...goodFile(),
    version: 2,
    notes: [
      noted(1, {
        kind: 'workshop set out',
        name: 'Spring',
        place: 'The shed',
        day: '2021-05-01',
        tolerance: { degrees: 1, grade: '5' },
      }),
      noted(2, { kind: 'kit added', kit: 'k1', serial: 'WB-1', builder: 'Ann', place: '3' }),
      noted(3, { kind: 'kit changed', kit: 'k1', from: { place: '3' }, to: { place: '4' } }),
    ] as Note[],
  };
}

/* eslint-disable-next-line @typescript-eslint/no-explicit-any -- it is changed into what no type allows */
type Changeable = any;

const changed = (change: (file: Changeable) => void): string => {
  const file = structuredClone(goodFile());
  change(file);
  return JSON.stringify(file);
};
/** The good file with a text in it replaced by what JSON.stringify would never write. */
const spliced = (what: string, by: string): string => {
  const text = JSON.stringify(goodFile());
  if (!text.includes(what)) throw new Error(`there is no ${what}`);
  return text.replace(what, by);
};
const nested = (depth: number) => '['.repeat(depth) + ']'.repeat(depth);

export interface HostileFile {
  name: string;
  content: string | Uint8Array<ArrayBuffer>;
  cause: 'not_json' | 'wrong_type' | 'newer_version' | 'bad_value';
  /** Where it must be said to be wrong; absent where the whole file is. */
  path?: string;
  /** A JSON Schema cannot say this. */
  beyondSchema?: true;
}

export const HOSTILE_FILES: readonly HostileFile[] = [
  { name: 'nothing', content: '', cause: 'not_json' },
  { name: 'half a file', content: JSON.stringify(goodFile()).slice(0, 400), cause: 'not_json' },
  { name: 'bytes that are no text', content: new Uint8Array([123, 255, 125]), cause: 'not_json' },
  { name: 'a web page', content: '<!doctype html><script>alert(1)</script>', cause: 'not_json' },
  { name: 'NaN', content: spliced('11.5', 'NaN'), cause: 'not_json' },
  { name: 'two files in one', content: JSON.stringify(goodFile()).repeat(2), cause: 'not_json' },
  { name: 'nesting without end', content: '['.repeat(1_000_000), cause: 'not_json' },
  { name: 'null', content: 'null', cause: 'wrong_type' },
  { name: 'a list', content: nested(100_000), cause: 'wrong_type' },
  { name: 'another type', content: changed((f) => (f.type = 'recipe')), cause: 'wrong_type' },
  { name: 'a file of coefficients', content: changed((f) => (f.type = 'lodebench.coefficients')), cause: 'wrong_type' }, // prettier-ignore
  { name: 'a newer version', content: changed((f) => (f.version = 3)), cause: 'newer_version' },
  { name: 'a version far ahead', content: spliced('"version":1', '"version":1e999'), cause: 'newer_version' }, // prettier-ignore
  { name: 'a version that never was', content: changed((f) => (f.version = 0.5)), cause: 'bad_value' }, // prettier-ignore
  bad('papers in a version that had none', (f) => (f.notes = []), 'notes'),
  bad('a paper held in a version that had none', (f) => (f.holds.paper = PAPER), 'holds.paper'),
  badNotes('notes missing', (f) => delete f.notes, 'notes'),
  badNotes('notes that are none', (f) => (f.notes = {}), 'notes'),
  badNotes('a paper that is none', (f) => (f.holds.paper = '1'), 'holds.paper'),
  badNotes('a note that is null', (f) => (f.notes[1] = null), 'notes[1]'),
  badNotes('a note without a body', (f) => delete f.notes[1].body, 'notes[1].body'),
  badNotes('a note with a field nobody knows', (f) => (f.notes[1].extra = 1), 'notes[1].extra'),
  badNotes(
    'a body with a field nobody knows',
    (f) => (f.notes[1].body.extra = 1),
    'notes[1].body.extra',
  ),
  badNotes('an id of a note that is a script', (f) => (f.notes[0].id = '<script>'), 'notes[0].id'),
  badNotes(
    'a note of a kind of paper nobody knows',
    (f) => (f.notes[0].of = 'recipe'),
    'notes[0].of',
  ),
  badNotes(
    'a kind of note nobody knows',
    (f) => (f.notes[2].body.kind = 'spell'),
    'notes[2].body.kind',
  ),
  badNotes(
    'a kind of note that every object has',
    (f) => (f.notes[2].body.kind = 'constructor'),
    'notes[2].body.kind',
  ),
  badNotes(
    'a note of a time that never was',
    (f) => (f.notes[0].time = '2021-02-31T08:00:00.000Z'),
    'notes[0].time',
    true,
  ),
  badNotes(
    'a builder without end',
    (f) => (f.notes[1].body.builder = 'x'.repeat(10_000)),
    'notes[1].body.builder',
  ),
  badNotes(
    'a note named as every object has',
    (f) => (f.notes[1].body.from = JSON.parse('{"constructor":1}')),
    'notes[1].body.from',
  ),
  badNotes('a note twice that differs', (f) => (f.notes[1].id = f.notes[0].id), 'notes[1]', true),
  bad('entries that are none', (f) => (f.entries = {}), 'entries'),
  bad('entries missing', (f) => delete f.entries, 'entries'),
  bad('a bench that is none', (f) => (f.bench = '../../etc'), 'bench'),
  bad('a field nobody knows', (f) => (f.extra = 1), 'extra'),
  bad('no time of taking out', (f) => (f.exported = 'yesterday'), 'exported'),
  bad('a row that is null', (f) => (f.entries[1] = null), 'entries[1]'),
  bad('a row that is a list', (f) => (f.entries[1] = []), 'entries[1].bench'),
  bad('a number of zero', (f) => (f.entries[0].number = 0), 'entries[0].number'),
  bad('half a number', (f) => (f.entries[0].number = 1.5), 'entries[0].number'),
  bad('a number that leaves none', (f) => (f.entries[0].number = 2 ** 53), 'entries[0].number'),
  bad('a number as text', (f) => (f.entries[0].number = '1'), 'entries[0].number'),
  bad('a writer that is a script', (f) => (f.entries[0].bench = '<img src=x onerror=alert(1)>'), 'entries[0].bench'), // prettier-ignore
  bad('an entry missing', (f) => delete f.entries[2].entry, 'entries[2].entry'),
  bad('a kind nobody knows', (f) => (f.entries[2].entry.kind = 'spell'), 'entries[2].entry.kind'),
  bad('a kind that every object has', (f) => (f.entries[2].entry.kind = 'constructor'), 'entries[2].entry.kind'), // prettier-ignore
  bad(
    'a kind that is a list',
    (f) => (f.entries[2].entry.kind = ['note']),
    'entries[2].entry.kind',
  ),
  bad('no board', (f) => delete f.entries[0].entry.board, 'entries[0].entry.board'),
  bad('a board without a name', (f) => (f.entries[0].entry.board = ''), 'entries[0].entry.board'),
  bad('a board named by half a character', (f) => (f.entries[0].entry.board = '\ud800'), 'entries[0].entry.board', true), // prettier-ignore
  bad('a calibration named by half a character', (f) => (f.entries[1].entry.calibration = 'c \udc00'), 'entries[1].entry.calibration', true), // prettier-ignore
  bad('half a character for the board that it holds', (f) => (f.holds.board = '\ud800'), 'holds.board', true), // prettier-ignore
  bad('a day that never was', (f) => (f.entries[0].entry.time = '2021-02-31T08:00:00.000Z'), 'entries[0].entry.time', true), // prettier-ignore
  bad('a time of day alone', (f) => (f.entries[0].entry.time = '08:00'), 'entries[0].entry.time'),
  bad('a text without end', (f) => (f.entries[0].entry.text = 'x'.repeat(100_000)), 'entries[0].entry.text'), // prettier-ignore
  bad('an object for a text', (f) => (f.entries[0].entry.text = { toString: 'x' }), 'entries[0].entry.text.toString', true), // prettier-ignore
  bad('null for a count', (f) => (f.entries[2].entry.reading.acc[2] = null), 'entries[2].entry.reading.acc[2]'), // prettier-ignore
  bad('text for a count', (f) => (f.entries[2].entry.reading.acc[2] = '1'), 'entries[2].entry.reading.acc[2]'), // prettier-ignore
  bad(
    'four axes',
    (f) => f.entries[2].entry.reading.acc.push(1),
    'entries[2].entry.reading.acc[3]',
  ),
  bad('two axes', (f) => f.entries[2].entry.reading.mag.pop(), 'entries[2].entry.reading.mag[2]'),
  bad('a count beyond any', (f) => (f.entries[2].entry.reading.mag[0] = 1e300), 'entries[2].entry.reading.mag[0]'), // prettier-ignore
  bad('colder than can be', (f) => (f.entries[2].entry.reading.temperature = -300), 'entries[2].entry.reading.temperature'), // prettier-ignore
  bad('a field more in a reading', (f) => (f.entries[2].entry.reading.spin = 1), 'entries[2].entry.reading.spin'), // prettier-ignore
  bad('a local number of its own', (f) => (f.entries[2].entry.foreign = { bench: BENCH, number: 1 }), 'entries[2].entry.foreign'), // prettier-ignore
  {
    name: 'a number that overflows',
    content: spliced('11.5', '1e999'),
    cause: 'bad_value',
    path: 'entries[2].entry.reading.temperature',
  },
  {
    name: 'a prototype in an entry',
    content: spliced('"kind":"note"', '"__proto__":{"isAdmin":true},"kind":"note"'),
    cause: 'bad_value',
    path: 'entries[0].entry.__proto__',
  },
  {
    name: 'a prototype in the file',
    content: spliced('"holds":{}', '"holds":{"__proto__":{"board":"x"}}'),
    cause: 'bad_value',
    path: 'holds.__proto__',
  },
  {
    name: 'a constructor in a reading',
    content: spliced('"temperature"', '"constructor":{"prototype":{}},"temperature"'),
    cause: 'bad_value',
    path: 'entries[2].entry.reading.constructor',
  },
  {
    name: 'a reading nested too deep',
    content: spliced('11.5', nested(50_000)),
    cause: 'bad_value',
    path: `entries[2].entry.reading.temperature${'[0]'.repeat(10)}`,
  },
  bad(
    'two that differ under one number',
    (f) => f.entries.push({ ...f.entries[0], entry: { ...f.entries[0].entry, text: 'Sold' } }),
    'entries[3]',
    true,
  ),
  bad(
    'one calibration on two boards',
    (f) => (f.entries[2].entry.board = 'WB-2'),
    'entries[2].entry.board',
    true,
  ),
  bad(
    'a set that is not what its CRC says',
    (f) =>
      (f.entries[0].entry = {
        ...within,
        kind: 'staged',
        set: { model: 'straight', values: [1, 1, ...Array(24).fill(0)] },
        crc: '00000000',
      }),
    'entries[0].entry.crc',
    true,
  ),
  bad(
    'a set that is no set of its model',
    (f) =>
      (f.entries[0].entry = {
        ...within,
        kind: 'staged',
        set: { model: 'bowed', values: [1, 1, ...Array(24).fill(0)] },
        crc: '00000000',
      }),
    'entries[0].entry.set',
    true,
  ),
];

function badNotes(
  name: string,
  change: (file: Changeable) => void,
  path: string,
  beyondSchema?: true,
): HostileFile {
  const file: Changeable = goodFileWithNotes();
  change(file);
  const bad = { name, content: JSON.stringify(file), cause: 'bad_value', path } as const;
  return { ...bad, ...(beyondSchema && { beyondSchema }) };
}

function bad(
  name: string,
  change: (file: Changeable) => void,
  path: string,
  beyondSchema?: true,
): HostileFile {
  return {
    name,
    content: changed(change),
    cause: 'bad_value',
    path,
    ...(beyondSchema && { beyondSchema }),
  };
}
