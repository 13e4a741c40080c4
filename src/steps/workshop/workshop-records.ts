import { inNoteOrder, type Note } from '../../records/papers.ts';
import {
  KIT_FIELDS,
  type KitFields,
  type SeenStage,
  type WorkshopNote,
  type WorkshopTerms,
} from '../../records/workshop-notes.ts';
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
  /** How boards stood at other computers, by serial number. */
  seen: ReadonlyMap<string, SeenStage & { seen: string }>;
}

export type KitRecord = Pick<
  KitRow,
  'kit' | 'alias' | 'serial' | 'builder' | 'place' | 'remarks' | 'overruled'
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
  const seen = new Map<string, SeenStage & { seen: string }>();
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
        const { board, seen: when, stage, words, trouble } = body;
        const before = seen.get(board);
        if (before && Date.parse(before.seen) > Date.parse(when)) break;
        seen.set(board, { seen: when, stage, words, ...(trouble !== undefined && { trouble }) });
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
    kits: all.filter(({ kit }) => !isOff(kit)),
    takenOff: all.filter(({ kit }) => isOff(kit)),
    remarks,
    ...(site && { site }),
    seen,
  };
}

/**
 * Which kits are off the roster, and which are one: kits on the roster that come to have one serial number are the one
 * that was added first, whichever computers added them.
 */
function identities(notes: readonly Note<WorkshopNote>[]): {
  isOff(kit: string): boolean;
  same: ReadonlyMap<string, string>;
} {
  const serials = new Map<string, string>();
  const off = new Set<string>();
  for (const { body } of notes) {
    if (body.kind === 'kit added') {
      serials.set(body.kit, trimmed(body.serial) ?? serials.get(body.kit) ?? '');
    } else if (body.kind === 'kit changed' && serials.has(body.kit)) {
      serials.set(body.kit, trimmed(body.to.serial) ?? serials.get(body.kit)!);
    } else if (body.kind === 'kit taken off') off.add(body.kit);
    else if (body.kind === 'kit put back') off.delete(body.kit);
  }
  const first = new Map<string, string>();
  const same = new Map<string, string>();
  for (const [kit, serial] of serials) {
    if (serial === '' || off.has(kit)) continue;
    const before = first.get(serial);
    if (before === undefined) first.set(serial, kit);
    else same.set(kit, before);
  }
  return { isOff: (kit) => off.has(kit), same };
}

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
