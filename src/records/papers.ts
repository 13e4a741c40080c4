/**
 * What is written together about several boards: a check course, a workshop. A paper is a list of notes, only ever added
 * to, at any number of computers: a note is the same wherever it is brought in, and in which order notes are read follows
 * from the notes themselves.
 */

export type PaperKind = 'course' | 'workshop';

export interface Note<Body = unknown> {
  /** 32 hexadecimal digits, random: the same note wherever it is brought in. */
  id: string;
  /** Id of the paper, likewise. */
  paper: string;
  of: PaperKind;
  /** ISO 8601, UTC, as entries have it; {@link timeAfter} gives it. */
  time: string;
  /** Plain data told apart by `kind` (course-notes.ts, workshop-notes.ts). A `name` at its top is the name of the paper from then on. */
  body: Body;
}

/** What a list of papers says of one. */
export interface PaperInShort {
  paper: string;
  of: PaperKind;
  /** As the newest note that gives one says; absent where none does. */
  name?: string;
  /** How many there are. */
  notes: number;
  firstTime: string;
  lastTime: string;
}

/** 128 random bits in hexadecimal digits, so that no two benches, papers or notes have one id. */
export function randomId(): string {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return [...bytes].map((byte) => byte.toString(16).padStart(2, '0')).join('');
}

/**
 * When a note is written that is read after all of these: now, or just after them where a clock that wrote one is ahead.
 * So who changes what another computer said is believed, whichever clock is slow.
 */
export function timeAfter(notes: readonly Pick<Note, 'time'>[], now: Date): string {
  const last = notes.reduce((latest, { time }) => Math.max(latest, Date.parse(time)), -Infinity);
  return new Date(Math.max(now.getTime(), last + 1)).toISOString();
}

/** Notes in the order in which they are read, the same everywhere: by time, at the same time by id. */
export function inNoteOrder<B>(notes: readonly Note<B>[]): Note<B>[] {
  return [...notes].sort(
    (a, b) => Date.parse(a.time) - Date.parse(b.time) || (a.id < b.id ? -1 : 1),
  );
}

/** A line for each paper that these notes are of, in the order of their first notes. */
export function papersInShort(notes: readonly Note[]): PaperInShort[] {
  const papers = new Map<string, PaperInShort>();
  for (const { paper, of, time, body } of inNoteOrder(notes)) {
    const before = papers.get(paper) ?? { paper, of, notes: 0, firstTime: time, lastTime: time };
    const named = nameIn(body);
    papers.set(paper, {
      ...before,
      notes: before.notes + 1,
      lastTime: time,
      ...(named !== undefined && { name: named }),
    });
  }
  return [...papers.values()];
}

function nameIn(body: unknown): string | undefined {
  if (typeof body !== 'object' || body === null || !('name' in body)) return undefined;
  return typeof body.name === 'string' ? body.name : undefined;
}
