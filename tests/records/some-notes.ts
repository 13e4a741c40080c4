import fc from 'fast-check';
import type { Note } from '../../src/records/papers.ts';
import { STAGES, type KitFields, type WorkshopNote } from '../../src/records/workshop-notes.ts';

/** Notes as people and computers come to write them, for properties of whatever takes them. */

const minute = (n: number) => new Date(Date.UTC(2031, 4, 1, 9, n)).toISOString();
const text = fc.oneof(
  fc.constantFrom('', '3', 'Ann', '=1+1', 'a,b', '"', 'line\nbreak', '@SUM', '-2', ' +x', '\t=x'),
  fc.string({ maxLength: 6, unit: 'grapheme' }),
);
const board = fc.constantFrom('B1', 'B2', 'B3');
const kit = fc.constantFrom('k1', 'k2', 'k3');
const fields: fc.Arbitrary<KitFields> = fc.record(
  { serial: fc.oneof(board, fc.constant('')), builder: text, place: text },
  { requiredKeys: [] },
);
const tolerance = fc.constantFrom({ degrees: 1, grade: '5' as const }, { degrees: 0.7 });

const body: fc.Arbitrary<WorkshopNote> = fc.oneof(
  fc.record({
    kind: fc.constant('workshop set out' as const),
    name: text.map((name) => `W${name}`),
    place: text,
    day: fc.constant('2031-05-01'),
    tolerance,
  }),
  fc.record({ kit, fields }).map(({ kit, fields }) => ({ kind: 'kit added' as const, kit, ...fields })), // prettier-ignore
  fc.record({ kind: fc.constant('kit changed' as const), kit, from: fields, to: fields }),
  fc.record({ kind: fc.constant('kit taken off' as const), kit }),
  fc.record({ kind: fc.constant('kit put back' as const), kit }),
  fc.record(
    { kind: fc.constant('workshop remark' as const), kit, text },
    { requiredKeys: ['kind', 'text'] },
  ),
  fc.record({
    kind: fc.constant('site checked for all' as const),
    board,
    checked: fc.nat(9).map(minute),
    verdict: fc.constantFrom('clean' as const, 'disturbed' as const),
  }),
  fc.constant({ kind: 'site check taken back' as const }),
  fc.record(
    {
      kind: fc.constant('board seen' as const),
      board,
      bench: fc.constantFrom('1'.repeat(32), '2'.repeat(32)),
      seen: fc.nat(9).map(minute),
      stage: fc.constantFrom(...STAGES),
      words: text,
      trouble: text,
    },
    { requiredKeys: ['kind', 'board', 'seen', 'stage', 'words'] },
  ),
);

/** Of one workshop; times jump back and forth and meet, and a note may be given twice. */
export const someWorkshopNotes: fc.Arbitrary<Note<WorkshopNote>[]> = fc
  .array(fc.record({ body, time: fc.nat(9).map(minute) }), { maxLength: 14 })
  .map((all) =>
    all.map(({ body, time }, i) => ({
      id: ((i * 7919) % 1000).toString(16).padStart(32, '0'),
      paper: 'a'.repeat(32),
      of: 'workshop' as const,
      time,
      body,
    })),
  )
  .chain((notes) => fc.subarray(notes).map((again) => [...notes, ...again]));
