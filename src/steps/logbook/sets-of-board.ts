import { asStored, coefficientsFrom, coefficientValues } from '../../calib/model.ts';
import type { CoefficientSet } from '../../protocol/coefficient-set.ts';
import { setCrc } from '../../protocol/messages.ts';
import type { ChosenSet, Entry, EntryOf } from '../../records/entries.ts';
import { listed } from '../finding.ts';
import { timeWords } from '../time-words.ts';

export type { ChosenSet, StoredEntry } from '../../records/entries.ts';

/** Every set of coefficients that a board ever had, or could have, as the logbook's entries tell. */

/**
 * What happened to a set:
 * - `fitted`: a fit gave it
 * - `entered`: it was made elsewhere, and entered from a file or by hand
 * - `found`: the board had it when it was looked at, before anything was changed
 * - `sealed`: it was sealed from here
 * - `back`: it was put in force again, by going back or after a change of firmware
 */
export type SetEvent =
  | { kind: 'fitted'; time: string; calibration: string; fit: string; readings: number }
  | { kind: 'entered'; time: string; name: string; by: 'file' | 'hand' }
  | { kind: 'found' | 'sealed' | 'back'; time: string; generation: number };

export interface ProofOfSet {
  time: string;
  generation: number;
  passed: boolean;
  /** Over how many fresh readings. */
  readings: number;
}

/** One set; two with the very same numbers are one. */
export interface SetOfBoard {
  /** Names it among the board's sets. */
  id: string;
  set: CoefficientSet;
  crc: string;
  /** Never empty; in the order of the logbook. */
  events: readonly SetEvent[];
  /** Every generation that it was, the lowest first; none where the board never ran it. */
  generations: readonly number[];
  proofs: readonly ProofOfSet[];
  /** Where it is on the board, as last read from it. */
  onBoard?: 'in force' | 'previous';
  /** The newest fit that gave it. */
  fit?: { calibration: string; id: string };
  /** What it was called when it was entered, the newest time. */
  entered?: string;
  /** Of the field where it was made, radians. */
  dip?: number;
  /** It was fitted to readings in other units than a board's counts, so that no board can run it. */
  inOtherUnits?: true;
}

export interface SetsOfBoard {
  /** That in force first, then the one last heard of. */
  sets: readonly SetOfBoard[];
  /** Dip where the board was used last, radians, as far as any fit or file says. */
  dip?: number;
}

/** @param entries of one board, in reading order */
export function setsOfBoard(entries: readonly Entry[]): SetsOfBoard {
  const sets = new Map<string, SetOfBoard>();
  const staged = new Map<string, string>(); // by calibration and check
  const sealed = new Map<string, string>();
  const otherUnits = new Set<string>();
  const told = new Set<string>(); // what happened since the board was last found without coefficients
  const onBoard: Record<'inForce' | 'previous', string | undefined> = {
    inForce: undefined,
    previous: undefined,
  };
  let dip: number | undefined;

  /** Of a set with these numbers, known or new. */
  const idOf = ({ model, values }: CoefficientSet): string => `${model} ${values.map(Math.fround).join()}`; // prettier-ignore
  const happened = (set: CoefficientSet, event: SetEvent, more: Partial<SetOfBoard> = {}) => {
    const id = idOf(set);
    const before = sets.get(id);
    sets.delete(id); // so that it is the one last heard of
    sets.set(id, {
      ...(before ?? fresh(id, set)),
      ...more,
      events: [...(before?.events ?? []), event],
      generations:
        'generation' in event
          ? withGeneration(before?.generations ?? [], event.generation)
          : (before?.generations ?? []),
    });
    return id;
  };
  const runs = (id: string) => {
    onBoard.previous = onBoard.inForce;
    onBoard.inForce = id;
  };

  /** Two benches may have recorded one happening. After a repair, generations and readings begin anew. */
  const isToldAgain = (entry: EntryOf<'sealed' | 'reverted' | 'restored' | 'proof'>): boolean => {
    const what = entry.kind === 'proof' ? entry.readings.join() : entry.crc;
    const key = `${entry.kind} ${entry.generation} ${what}`;
    const isAgain = told.has(key);
    told.add(key);
    return isAgain;
  };

  for (const entry of entries) {
    const { time } = entry;
    switch (entry.kind) {
      case 'calibration entered':
        if (entry.sheet.units.acc !== 'counts' || entry.sheet.units.mag !== 'counts') {
          otherUnits.add(entry.calibration);
        }
        break;
      case 'fit': {
        const { calibration, id: fit } = entry;
        const coefficients = asStored(entry.coefficients);
        const set = { model: coefficients.model, values: coefficientValues(coefficients) };
        const readings = entry.readings.filter(({ used }) => used).length;
        happened(
          set,
          { kind: 'fitted', time, calibration, fit, readings },
          {
            fit: { calibration, id: fit },
            dip: entry.dip,
            ...(otherUnits.has(calibration) && { inOtherUnits: true }),
          },
        );
        dip = entry.dip;
        break;
      }
      case 'coefficients entered':
        happened(
          entry.set,
          { kind: 'entered', time, name: entry.name, by: entry.by },
          { entered: entry.name, ...(entry.dip !== undefined && { dip: entry.dip }) },
        );
        dip ??= entry.dip;
        break;
      case 'staged':
        staged.set(`${entry.calibration} ${setCrc(entry.set)}`, idOf(entry.set));
        if (!sets.has(idOf(entry.set))) {
          // its fit or whence it came is not among the entries: it counts once it is sealed
          sets.set(idOf(entry.set), fresh(idOf(entry.set), entry.set));
        }
        break;
      case 'sealed': {
        const known = sets.get(staged.get(`${entry.calibration} ${entry.crc}`) ?? '');
        if (!known || isToldAgain(entry)) break;
        const { generation } = entry;
        const id = happened(known.set, { kind: 'sealed', time, generation });
        sealed.set(entry.calibration, id);
        runs(id);
        break;
      }
      case 'reverted':
      case 'restored': {
        const known = [...sets.values()].findLast(({ crc }) => crc === entry.crc);
        if (!known || isToldAgain(entry)) break;
        runs(happened(known.set, { kind: 'back', time, generation: entry.generation }));
        break;
      }
      case 'coefficients saved':
        for (const found of [entry.previous, entry.inForce]) {
          if (!found) continue;
          const { generation } = found;
          if (sets.get(idOf(found))?.generations.includes(generation)) continue;
          happened(found, { kind: 'found', time, generation });
        }
        if (!entry.inForce) told.clear();
        onBoard.inForce = entry.inForce && idOf(entry.inForce);
        onBoard.previous = entry.previous && idOf(entry.previous);
        break;
      case 'proof': {
        const id = sealed.get(entry.calibration);
        const known = id === undefined ? undefined : sets.get(id);
        if (!known || isToldAgain(entry)) break;
        const { generation, passed, readings } = entry;
        const proof = { time, generation, passed, readings: readings.length };
        sets.set(known.id, { ...known, proofs: [...known.proofs, proof] });
        break;
      }
    }
  }
  const all = [...sets.values()].filter(({ events }) => events.length > 0).reverse();
  const placed = all.map((each): SetOfBoard => {
    if (each.id === onBoard.inForce) return { ...each, onBoard: 'in force' };
    return each.id === onBoard.previous ? { ...each, onBoard: 'previous' } : each;
  });
  const isFirst = (each: SetOfBoard) => each.onBoard === 'in force';
  return {
    sets: [...placed.filter(isFirst), ...placed.filter((each) => !isFirst(each))],
    ...(dip !== undefined && { dip }),
  };
}

const fresh = (id: string, { model, values }: CoefficientSet): SetOfBoard => ({
  id,
  set: { model, values },
  crc: setCrc({ model, values }),
  events: [],
  generations: [],
  proofs: [],
});

const withGeneration = (before: readonly number[], generation: number): readonly number[] =>
  before.includes(generation) ? before : [...before, generation].sort((a, b) => a - b);

/** The coefficients of a set. */
export const coefficientsOfSet = ({ set }: SetOfBoard) => coefficientsFrom(set.model, set.values);

/** What a set is called on screen. */
export function setName({ generations, entered, events }: SetOfBoard): string {
  if (generations.length > 0) {
    return `${generations.length === 1 ? 'Generation' : 'Generations'} ${listed(generations.map(String))}`;
  }
  if (entered !== undefined) return `“${entered}”, made elsewhere`;
  return `A fit of ${timeWords(events[0]!.time)}, never sealed`;
}

/** What happened to a set, a sentence for each event. */
export function eventWords(event: SetEvent): string {
  switch (event.kind) {
    case 'fitted':
      return `Fitted to ${event.readings} readings.`;
    case 'entered':
      return event.by === 'file'
        ? `Entered from a file, as “${event.name}”.`
        : `Typed in, as “${event.name}”.`;
    case 'found':
      return `Found on the board as generation ${event.generation}.`;
    case 'sealed':
      return `Sealed as generation ${event.generation}.`;
    case 'back':
      return `In force again, as generation ${event.generation}.`;
  }
}

/** What its proofs say, in a sentence. */
export function proofsOfSetWords({ proofs, generations }: SetOfBoard): string {
  const last = proofs.at(-1);
  if (!last) return generations.length === 0 ? 'Never on the board.' : 'No proof of it was taken.';
  const { passed, readings, time } = last;
  const failed = proofs.filter((each) => !each.passed).length;
  const others = proofs.length === 1 ? '' : ` (the newest of ${proofs.length}, ${failed} of which did not pass)`; // prettier-ignore
  return `Its proof over ${readings} fresh readings ${passed ? 'passed' : 'did not pass'} on ${timeWords(time)}${others}.`;
}

/** A set as it is to be put on the board. @param dip where the board is used, radians */
export function asChosen(each: SetOfBoard, dip: number | undefined): ChosenSet {
  const { set, crc, generations, fit, entered } = each;
  const generation = generations.at(-1);
  return {
    set,
    crc,
    source: {
      ...(generation !== undefined && { generation }),
      ...(fit && { fit }),
      ...(entered !== undefined && { entered }),
    },
    ...(dip !== undefined && { dip }),
  };
}
