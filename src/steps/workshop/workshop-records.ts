import { inNoteOrder, type Note } from '../../records/papers.ts';
import {
  KIT_FIELDS,
  type KitFields,
  type SeenStage,
  type WorkshopNote,
  type WorkshopTerms,
} from '../../records/workshop-notes.ts';
import { without } from '../copy-without.ts';
import type { KitRemark, KitRow, SiteForAll } from './roster.ts';

/** What the notes of a workshop come to, folded in reading order: it follows from which notes there are, and nothing else. */

export interface WorkshopRecords {
  paper: string;
  terms: WorkshopTerms;
  /** In the order in which they were added. */
  kits: readonly KitRecord[];
  takenOff: readonly KitRecord[];
  remarks: readonly KitRemark[];
  site?: SiteForAll;
  /** How boards stood at each computer when it last noted that, by serial number. */
  seen: ReadonlyMap<string, readonly Seen[]>;
}

export type Seen = SeenStage &
  Pick<Extract<WorkshopNote, { kind: 'board seen' }>, 'bench' | 'seen'>;

/** How a board stood when it was last seen. @param except a bench whose own notes are passed over */
export function lastSeen(
  seen: WorkshopRecords['seen'],
  board: string,
  except?: string,
): Seen | undefined {
  return (seen.get(board) ?? [])
    .filter(({ bench }) => bench === undefined || bench !== except)
    .reduce<Seen | undefined>(
      (last, each) => (last && Date.parse(last.seen) > Date.parse(each.seen) ? last : each),
      undefined,
    );
}

export type KitRecord = Pick<
  KitRow,
  'kit' | 'alias' | 'serial' | 'builder' | 'place' | 'remarks' | 'overruled' | 'twins'
>;

/** @returns undefined where nobody has said what the workshop is */
export function foldWorkshop(given: readonly Note[]): WorkshopRecords | undefined {
  const unique = [...new Map(given.map((note) => [note.id, note])).values()];
  // what the schemas let in, and this program writes, are these
  const notes = inNoteOrder(unique.filter(({ of }) => of === 'workshop')) as Note<WorkshopNote>[];
  const { isOff, same } = identities(notes);
  const kits = new Map<string, Kit>();
  const kitOf = (id: string): Kit | undefined => kits.get(same.get(id) ?? id);
  const remarks: KitRemark[] = [];
  const seen = new Map<string, readonly Seen[]>();
  let terms: WorkshopTerms | undefined;
  let site: SiteForAll | undefined;
  for (const { time, body } of notes) {
    switch (body.kind) {
      case 'workshop set out': {
        const { name, place, day, tolerance } = body;
        terms = { name, place, day, tolerance };
        break;
      }
      case 'kit added': {
        const id = same.get(body.kit) ?? body.kit;
        const kit = kits.get(id) ?? new Kit(id);
        kits.set(id, kit);
        kit.add(body.kit, body, time);
        break;
      }
      case 'kit changed':
        kitOf(body.kit)?.change(body.from, body.to, time);
        break;
      case 'workshop remark': {
        const { text } = body;
        if (body.kit === undefined) remarks.push({ text, time });
        else kitOf(body.kit)?.remarks.push({ text, time });
        break;
      }
      case 'site checked for all': {
        const { board, checked, verdict } = body;
        site = { board, checked, verdict };
        break;
      }
      case 'site check taken back':
        site = undefined;
        break;
      case 'board seen': {
        const { board } = body;
        const now: Seen = without(body, 'kind', 'board');
        const all = seen.get(board) ?? [];
        const before = all.find(({ bench }) => bench === now.bench);
        if (before && Date.parse(before.seen) > Date.parse(now.seen)) break;
        seen.set(board, [...all.filter((each) => each !== before), now]);
        break;
      }
    }
  }
  if (!terms) return undefined;
  const paper = notes[0]!.paper;
  const all = [...kits.values()].map((kit) => kit.record);
  return {
    paper,
    terms,
    kits: withTwins(all.filter(({ kit }) => !isOff(kit))),
    takenOff: all.filter(({ kit }) => isOff(kit)),
    remarks,
    ...(site && { site }),
    seen,
  };
}

/** Kits that have one serial number and are not one, each with what the others are called. */
function withTwins(kits: readonly KitRecord[]): KitRecord[] {
  return kits.map((kit) => {
    const twins = kits
      .filter((each) => each !== kit && kit.serial !== '' && each.serial === kit.serial)
      .map(({ place, builder }) => (place ? `place ${place}` : builder || 'another kit'));
    return twins.length === 0 ? kit : { ...kit, twins };
  });
}

/**
 * Which kits are off the roster, and which are one: kits that come to have one serial number are the one that was added
 * first, whichever computers added them, as long as they are both on the roster or both off it, and nobody named another
 * builder or place for the one than for the other. Then a number was mistyped, and both must be seen.
 */
function identities(notes: readonly Note<WorkshopNote>[]): {
  isOff(kit: string): boolean;
  same: ReadonlyMap<string, string>;
} {
  const own = new Map<string, Required<KitFields>>();
  const off = new Set<string>();
  for (const { body } of notes) {
    if (body.kind === 'kit added') {
      const before = own.get(body.kit) ?? { serial: '', builder: '', place: '' };
      own.set(
        body.kit,
        eachField((field) => trimmed(body[field]) || before[field]),
      );
    } else if (body.kind === 'kit changed') {
      const before = own.get(body.kit);
      if (before)
        own.set(
          body.kit,
          eachField((field) => trimmed(body.to[field]) ?? before[field]),
        );
    } else if (body.kind === 'kit taken off') off.add(body.kit);
    else if (body.kind === 'kit put back') off.delete(body.kit);
  }
  const firsts: { kit: string; fields: Required<KitFields> }[] = [];
  const same = new Map<string, string>();
  for (const [kit, fields] of own) {
    if (fields.serial === '') continue;
    const first = firsts.find(
      (each) =>
        each.fields.serial === fields.serial &&
        off.has(each.kit) === off.has(kit) &&
        KIT_FIELDS.every((field) => agree(each.fields[field], fields[field])),
    );
    if (!first) firsts.push({ kit, fields });
    else {
      same.set(kit, first.kit);
      const { fields: known } = first;
      first.fields = eachField((field) => known[field] || fields[field]);
    }
  }
  return { isOff: (kit) => off.has(kit), same };
}

const agree = (one: string, other: string): boolean => one === '' || other === '' || one === other;

const eachField = (value: (field: keyof KitFields) => string): Required<KitFields> => ({
  serial: value('serial'),
  builder: value('builder'),
  place: value('place'),
});

const trimmed = (text: string | undefined): string | undefined => text?.trim();

/** A kit as one note after the other has it. */
class Kit {
  readonly remarks: KitRemark[] = [];
  readonly #id: string;
  readonly #alias = new Set<string>();
  readonly #now = new Map<keyof KitFields, { value: string; time: string }>();
  #overruled: KitRecord['overruled'] = [];

  constructor(id: string) {
    this.#id = id;
  }

  /** Another computer may have added it before: what it says takes the place of nothing, or of what it did not know. */
  add(id: string, fields: KitFields, time: string): void {
    if (id !== this.#id) this.#alias.add(id);
    for (const field of KIT_FIELDS) {
      const value = trimmed(fields[field]);
      if (value) this.#set(field, '', value, time);
    }
  }

  change(from: KitFields, to: KitFields, time: string): void {
    for (const field of KIT_FIELDS) {
      const value = trimmed(to[field]);
      if (value !== undefined) this.#set(field, trimmed(from[field]) ?? '', value, time);
    }
  }

  get record(): KitRecord {
    const value = (field: keyof KitFields) => this.#now.get(field)?.value ?? '';
    return {
      kit: this.#id,
      alias: [...this.#alias],
      serial: value('serial'),
      builder: value('builder'),
      place: value('place'),
      remarks: this.remarks,
      overruled: this.#overruled,
      twins: [],
    };
  }

  #set(field: keyof KitFields, from: string, value: string, time: string): void {
    const { value: before, time: since } = this.#now.get(field) ?? { value: '', time };
    const knew = from === before;
    if (knew) this.#overruled = this.#overruled.filter((each) => each.field !== field);
    else if (before !== '' && before !== value)
      this.#overruled = [...this.#overruled, { field, value: before, time: since }];
    this.#now.set(field, { value, time });
  }
}
