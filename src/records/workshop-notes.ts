import type { SiteCheckRecord, ToleranceChoice } from './entries.ts';

/**
 * What is written about a workshop: what can be in the body of a note of one (papers.ts). What is so now follows from
 * reading them in order, at whichever computers they were written. What happened to a board is in its own entries, and
 * stands here only by its serial number.
 */
export type WorkshopNote =
  /** The workshop as it is from now on, whole. */
  | ({ kind: 'workshop set out' } & WorkshopTerms)
  /** A kit is on the roster from now on; `kit` is unique over all workshops. */
  | ({ kind: 'kit added'; kit: string } & KitFields)
  /**
   * What is otherwise of a kit from now on, and what that was where it was written: who wrote it without knowing of a
   * change made elsewhere takes its place, and that shows. An empty text: nothing.
   */
  | { kind: 'kit changed'; kit: string; from: KitFields; to: KitFields }
  | { kind: 'kit taken off'; kit: string }
  | { kind: 'kit put back'; kit: string }
  /** What a person says of a kit, or of the whole workshop. */
  | { kind: 'workshop remark'; kit?: string; text: string }
  /** The site check that this board made at that time stands for every board of the workshop. */
  | {
      kind: 'site checked for all';
      board: string;
      checked: string;
      verdict: SiteCheckRecord['verdict'];
    }
  /** None does any more. */
  | { kind: 'site check taken back' }
  /** How a board stood at a computer whose entries may not be here; `bench`: id of its logbook, absent in older notes. */
  | ({ kind: 'board seen'; board: string; bench?: string; seen: string } & SeenStage);

export interface WorkshopTerms {
  name: string;
  /** Where it is held; may be empty. */
  place: string;
  /** The day, ISO 8601, such as 2031-05-12. */
  day: string;
  /** What every kit is to be judged against. */
  tolerance: ToleranceChoice;
}

/** What is known of a kit; absent or empty where nobody said. */
export interface KitFields {
  /** Serial number of its board. */
  serial?: string;
  /** Who builds it. */
  builder?: string;
  /** Where on the bench. */
  place?: string;
}

export const KIT_FIELDS = ['serial', 'builder', 'place'] as const satisfies (keyof KitFields)[];

/** The stages of a kit, in order. */
export const STAGES = [
  'not linked yet',
  'linked',
  'assembly checked',
  'taking readings',
  'judged',
  'written',
  'proven',
] as const;
export type StageName = (typeof STAGES)[number];

export interface SeenStage {
  stage: StageName;
  /** The stage in words with its figures, such as "readings 31 of 56". */
  words: string;
  /** What was wrong; absent where nothing was. */
  trouble?: string;
}
