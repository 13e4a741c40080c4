import * as v from 'valibot';
import { COURSE_BODIES } from './course-schemas.ts';
import { number, oneOf, text, time, type Same } from './entry-schemas.ts';
import type { Note, PaperKind } from './papers.ts';
import { STAGES, type WorkshopNote } from './workshop-notes.ts';

/**
 * What a note of each kind must be to be taken in from a file: every field named and checked, every text, list and
 * number capped, and nothing beside. A note that was written here passes and comes out as it was.
 */

/** Of a note, and of a paper. */
const hexId = v.pipe(
  v.string('it must be a text'),
  v.regex(/^[0-9a-f]{32}$/, 'it must be 32 hexadecimal digits'),
);
/** What a person would call something; what a person wrote. */
const label = text(200);
const words = text(10_000);
const board = text(64, 1);
const id = text(100, 1);
const day = v.pipe(
  v.string('it must be a text'),
  v.regex(/^\d{4}-\d{2}-\d{2}$/, 'it must be a day such as 2031-05-12'),
);

const tolerance = v.strictObject({
  degrees: number(0, 360),
  grade: v.exactOptional(oneOf('3', '5', '6')),
});
const kitFields = {
  serial: v.exactOptional(text(64)),
  builder: v.exactOptional(label),
  place: v.exactOptional(label),
};
const verdict = oneOf('clean', 'disturbed', 'nothing found', 'open');

const is = <K extends string, F extends v.ObjectEntries>(kind: K, fields: F) =>
  v.strictObject({ kind: v.literal(kind), ...fields });

/** The bodies of a workshop's notes (workshop-notes.ts). */
const WORKSHOP = {
  'workshop set out': is('workshop set out', { name: text(200, 1), place: label, day, tolerance }),
  'kit added': is('kit added', { kit: id, ...kitFields }),
  'kit changed': is('kit changed', {
    kit: id,
    from: v.strictObject(kitFields),
    to: v.strictObject(kitFields),
  }),
  'kit taken off': is('kit taken off', { kit: id }),
  'kit put back': is('kit put back', { kit: id }),
  'workshop remark': is('workshop remark', { kit: v.exactOptional(id), text: words }),
  'site checked for all': is('site checked for all', { board, checked: time, verdict }),
  'site check taken back': is('site check taken back', {}),
  'board seen': is('board seen', {
    board,
    bench: v.exactOptional(hexId),
    seen: time,
    stage: oneOf(...STAGES),
    words: label,
    trouble: v.exactOptional(text(1000)),
  }),
} satisfies {
  [K in WorkshopNote['kind']]: v.GenericSchema<unknown, Extract<WorkshopNote, { kind: K }>>;
};

const BODIES: Readonly<Record<PaperKind, Readonly<Record<string, v.GenericSchema>>>> = {
  course: COURSE_BODIES,
  workshop: WORKSHOP,
};

const head = { id: hexId, paper: hexId, time };

/** A note, its body not looked at. */
const NoteHead = v.strictObject(
  { ...head, of: oneOf('course', 'workshop'), body: v.unknown() },
  'it must be a note',
);

/** The schemas of all notes, for the published one. */
export const NOTE_SCHEMAS = (['course', 'workshop'] as const)
  .filter((of) => Object.keys(BODIES[of]).length > 0)
  .map((of) =>
    v.strictObject({ ...head, of: v.literal(of), body: v.union(Object.values(BODIES[of])) }),
  );

/** Checks what may be a note; the first that is wrong with it. */
export function checkNote(
  given: unknown,
): { ok: true; note: Note } | { ok: false; issues: readonly v.BaseIssue<unknown>[] } {
  const read = v.safeParse(NoteHead, given, { abortEarly: true });
  if (!read.success) return { ok: false, issues: read.issues };
  const bodies = BODIES[read.output.of];
  const kind = v.safeParse(bodyOf(bodies), given);
  if (!kind.success) return { ok: false, issues: kind.issues };
  const schema = v.object({ body: bodies[kind.output.body.kind]! });
  const body = v.safeParse(schema, given, { abortEarly: true });
  if (!body.success) return { ok: false, issues: body.issues };
  return { ok: true, note: { ...read.output, body: body.output.body } };
}

const bodyOf = (bodies: Readonly<Record<string, v.GenericSchema>>) =>
  v.object({
    body: v.object(
      {
        kind: v.custom<string>(
          (kind) => typeof kind === 'string' && Object.hasOwn(bodies, kind),
          'it must be a kind of note that this program knows. Is the file from a newer one?',
        ),
      },
      'it must be an object',
    ),
  });

/** Every field of the one is in the other, alike, all the way down: a field without its check fails to type. */
type Whole<Body extends { kind: string }, Schemas> = {
  [K in Body['kind']]: K extends keyof Schemas
    ? Same<Extract<Body, { kind: K }>, v.InferOutput<Schemas[K] & v.GenericSchema>>
    : false;
};
type Holds<T extends Record<string, true>> = T;
export type EveryFieldIsChecked = Holds<Whole<WorkshopNote, typeof WORKSHOP>>;
