import type { BoardReading, StoredSet } from '../protocol/board.ts';
import type { Entry, EntryOf, Remark } from './entries.ts';

/** What tells when a board is to be calibrated again, folded from its entries: few and plain values. */

export interface TemperatureSpan {
  coldest: number;
  warmest: number;
}

/** A set of coefficients as it was first put in force here. */
export interface MadeSet {
  time: string;
  /** Came from elsewhere: it is older than this, nobody knows by how much. */
  elsewhere?: true;
  /** Firmware that the board ran then. */
  firmware?: string;
  /** Of the readings it was fitted to, degrees Celsius. */
  temperature?: TemperatureSpan;
}

export interface SinceCalibrated {
  /** By check (CRC-32, eight hexadecimal digits): all sets that were put in force here. */
  sets: Readonly<Record<string, MadeSet>>;
  /** What was last put in force here; `reverted` where that was the set before, put in force again. */
  inForce?: { crc: string; generation: number; time: string; reverted?: true };
  /** What the board was seen to run instead, and when it was seen first; without a generation it had none. */
  lost?: { time: string; generation?: number };
  /** Coefficients that it runs and that were never put in force here, where nothing was. */
  unknown?: { time: string; generation: number };
  /** As the board said last, and since when. */
  firmware?: { version: string; time: string };
  /** Coldest and warmest reading under what is in force, each with when it came to the logbook. */
  coldest?: { celsius: number; time: string };
  warmest?: { celsius: number; time: string };
  /** Changes of battery and knocks that a person wrote down and did not withdraw. */
  remarks: readonly ({ time: string } & Exclude<Remark, { kind: 'note' | 'remark withdrawn' }>)[];
  /** The calibration that is under way: temperatures of its fits by their ids, and what it staged. */
  fitting?: {
    calibration: string;
    spans: Readonly<Record<string, TemperatureSpan>>;
    elsewhere?: true;
    staged?: { crc: string; temperature?: TemperatureSpan };
  };
}

export const NOTHING_SINCE: SinceCalibrated = { sets: {}, remarks: [] };

/** What is so after one more entry. Pure. */
export function sinceAfter(since: SinceCalibrated, entry: Entry): SinceCalibrated {
  const { time } = entry;
  switch (entry.kind) {
    case 'board linked': {
      const { firmware } = entry.identity;
      return since.firmware?.version === firmware
        ? since
        : { ...since, firmware: { version: firmware, time } };
    }
    case 'coefficients saved':
      return seen(since, entry.inForce, time);
    case 'memory saved':
      return entry.readings.reduce((after, each) => felt(after, each, time), since);
    case 'reading':
    case 'proof reading':
    case 'check reading':
      return felt(since, entry.reading, time);
    case 'battery changed':
    case 'knocked': {
      const { kind, id, text, on } = entry;
      const remark = { kind, id, time, ...(text && { text }), ...(on && { on }) };
      return { ...since, remarks: [...since.remarks, remark] };
    }
    case 'remark withdrawn':
      return { ...since, remarks: since.remarks.filter(({ id }) => id !== entry.of) };
    case 'set chosen': {
      const { calibration, source } = entry;
      const elsewhere = source.entered !== undefined && { elsewhere: true as const };
      return { ...since, fitting: { calibration, spans: {}, ...elsewhere } };
    }
    case 'fit': {
      const temperature = entry.holdsFor?.temperature;
      const fitting = fittingOf(since, entry.calibration);
      if (!temperature) return { ...since, fitting };
      return {
        ...since,
        fitting: { ...fitting, spans: { ...fitting.spans, [entry.id]: temperature } },
      };
    }
    case 'staged': {
      const { crc, fit } = entry;
      const fitting = fittingOf(since, entry.calibration);
      // an id comes from a file also, and may be the name of what every object has
      const isFitted = fit !== undefined && Object.hasOwn(fitting.spans, fit);
      const temperature = isFitted ? fitting.spans[fit] : undefined;
      return {
        ...since,
        fitting: { ...fitting, staged: { crc, ...(temperature && { temperature }) } },
      };
    }
    case 'sealed':
    case 'reverted':
    case 'restored':
      return inForceAfter(since, entry);
    default:
      return since;
  }
}

/**
 * Whether an entry says once more what put in force what is so now, as where two benches recorded it. Not so where
 * something else was seen on the board since, such as none after a repair, which numbers its generations anew.
 */
export function isRecordedAlready({ inForce, lost }: SinceCalibrated, entry: Entry): boolean {
  const puts = entry.kind === 'sealed' || entry.kind === 'reverted' || entry.kind === 'restored';
  if (!puts || !inForce || lost) return false;
  return inForce.generation === entry.generation && inForce.crc === entry.crc;
}

function fittingOf({ fitting }: SinceCalibrated, calibration: string) {
  return fitting?.calibration === calibration ? fitting : { calibration, spans: {} };
}

function inForceAfter(
  since: SinceCalibrated,
  { kind, crc, generation, time }: EntryOf<'sealed' | 'reverted' | 'restored'>,
): SinceCalibrated {
  const { lost: _, unknown: __, coldest, warmest, ...kept } = since;
  const staged = kind === 'sealed' && since.fitting?.staged?.crc === crc && since.fitting.staged;
  const made: MadeSet = since.sets[crc] ?? {
    time,
    ...(since.fitting?.elsewhere && { elsewhere: true }),
    ...(since.firmware && { firmware: since.firmware.version }),
    ...(staged && staged.temperature && { temperature: staged.temperature }),
  };
  const again = since.inForce?.crc === crc; // the same set as before, as after a change of firmware
  return {
    ...kept,
    ...(again && coldest && { coldest }),
    ...(again && warmest && { warmest }),
    sets: { ...since.sets, [crc]: made },
    inForce: { crc, generation, time, ...(kind === 'reverted' && { reverted: true }) },
  };
}

/** After the board was seen to run a set, or none. */
function seen(since: SinceCalibrated, set: StoredSet | undefined, time: string): SinceCalibrated {
  const { lost, unknown, ...rest } = since;
  if (since.inForce) {
    if (set?.crc === since.inForce.crc) return rest;
    return {
      ...rest,
      lost: { time: lost?.time ?? time, ...(set && { generation: set.generation }) },
    };
  }
  if (!set) return rest;
  return { ...rest, unknown: { time: unknown?.time ?? time, generation: set.generation } };
}

/** After a reading: its temperature counts where the coefficients in force were so when it was taken. */
function felt(
  since: SinceCalibrated,
  { temperature: celsius, generation }: BoardReading,
  time: string,
): SinceCalibrated {
  if (celsius === undefined || generation !== since.inForce?.generation) return since;
  const { coldest, warmest } = since;
  return {
    ...since,
    ...((!coldest || celsius < coldest.celsius) && { coldest: { celsius, time } }),
    ...((!warmest || celsius > warmest.celsius) && { warmest: { celsius, time } }),
  };
}
