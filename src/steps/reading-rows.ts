import type { FittedReading } from '../calib/fit.ts';
import { angleBetween, degrees, direction, plus, radians } from '../calib/geometry.ts';
import type { Vec3 } from '../calib/reading.ts';
import type { BoardIdentity } from '../protocol/board.ts';
import type { FitRecord } from '../records/entries.ts';
import { lineWords, rollWords } from './attitude-words.ts';
import type { CalibrationState, KeptReading } from './calibration-state.ts';
import { movedWhileTaken, trembledWords } from './collecting/stillness.ts';
import { degreesText, percentText } from './finding.ts';
import type { LiveFit } from './live-fit.ts';
import { evidenceAgainst } from './reading-flags.ts';
import { TOLERANCE } from './tolerance.ts';
import { looksUnturned, UNTURNED_WORDS } from './unturned.ts';

/** The readings of a calibration as a table shows them. */

export interface ReadingRow {
  id: string;
  /** That it counts to now; absent for none. */
  sighting?: string;
  line: string;
  roll: string;
  /** Lengths of the calibrated vectors. */
  field: string;
  gravity: string;
  /** What is left over of its counts once the attitude that fits best is taken out of them. */
  accResidual: string;
  magResidual: string;
  /** Angle to the middle of its sighting. */
  aimError: string;
  misfit: string;
  /** A misfit that is not normal. */
  odd: boolean;
  temperature: string;
  /** Where it looks as if the board had not been turned for it. */
  doubt?: string;
  /** What speaks against it, the strongest first. */
  evidence: readonly string[];
  /** The sighting that it points along, where that is another one than its own. */
  belongs?: { sighting: string; words: string };
  /** Where it was moved from. */
  moved?: string;
  setAside?: NonNullable<KeptReading['setAside']>;
}

const ABSENT = '–';

/**
 * One row for each reading, in the order of taking. Figures come from the provisional fit, or else from the newest fit,
 * even a stale one.
 *
 * @param identity of the board, where it is known: its noise tells whether two readings are alike
 */
export function readingRows(
  { readings, fit }: CalibrationState,
  identity?: BoardIdentity,
  live?: LiveFit,
): ReadingRow[] {
  const from = figuresFrom(fit, live);
  const fitted = new Map(from?.readings.map((reading) => [reading.id, reading]));
  const lines = sightingLines(readings, fitted);
  const counting = readings.filter((row) => !row.setAside).map(({ reading }) => reading);
  const wouldLeaveOut = new Map(from?.setAside.map(({ id, reason }) => [id, reason]));
  return readings.map((row, i) => {
    const { id, sighting, reading, aim, setAside, takenFor } = row;
    const before = readings[i - 1];
    const unturned = identity && before && looksUnturned(row, before, identity);
    const trembled = identity && !setAside && movedWhileTaken(reading, identity, counting);
    const seen = fitted.get(id);
    const { azimuth, inclination } = aim ?? {};
    const line =
      azimuth === undefined || inclination === undefined
        ? 'no planned line'
        : lineWords({ azimuth, inclination });
    const reason = wouldLeaveOut.get(id);
    const belongs = seen && betterLine(row, seen, lines);
    return {
      id,
      ...(sighting !== undefined && { sighting }),
      line,
      roll: aim?.roll === undefined ? ABSENT : rollWords(aim.roll),
      field: seen?.field.toFixed(4) ?? ABSENT,
      gravity: seen?.gravity.toFixed(4) ?? ABSENT,
      accResidual: residual(seen?.accResidual, from?.coefficients.accScale),
      magResidual: residual(seen?.magResidual, from?.coefficients.magScale),
      aimError: seen?.aimError === undefined ? ABSENT : degreesText(degrees(seen.aimError)),
      misfit: seen?.misfit?.toFixed(1) ?? ABSENT,
      odd: (seen?.misfit ?? 0) > TOLERANCE.misfit,
      temperature: reading.temperature === undefined ? ABSENT : reading.temperature.toFixed(1),
      ...(unturned && !setAside && { doubt: UNTURNED_WORDS }),
      evidence: [
        ...(trembled ? [trembledWords(trembled)] : []),
        ...(reason !== undefined && !setAside ? [`the fit would leave it out: ${reason}`] : []),
        ...(seen && from && reason === undefined && !setAside ? evidenceAgainst(seen, from) : []),
      ],
      ...(belongs && { belongs }),
      ...(takenFor && { moved: movedWords(takenFor.sighting) }),
      ...(setAside && { setAside }),
    };
  });
}

interface Figures extends Pick<FitRecord, 'coefficients' | 'noise' | 'dip' | 'setAside'> {
  readings: readonly FittedReading[];
}

const figuresFrom = (fit: FitRecord | undefined, live: LiveFit | undefined): Figures | undefined =>
  live?.ok ? { ...live, readings: live.fitted } : fit;

const residual = (left: Vec3 | undefined, scale: number | undefined): string =>
  left && scale !== undefined ? percentText(Math.hypot(...left) / scale) : ABSENT;

const movedWords = (from: string | undefined): string =>
  from === undefined ? 'Moved here; it was taken for no sighting' : `Moved from sighting ${from}`;

/** A reading nearer to another line than this, and farther from its own than that, was aimed along the other. Radians. */
const ON_LINE = radians(5);
const OFF_LINE = radians(15);

/** Where the readings of a sighting point that count, as a sum of directions, and how many. */
type Lines = ReadonlyMap<string, { sum: Vec3; ids: ReadonlySet<string> }>;

function sightingLines(
  readings: readonly KeptReading[],
  fitted: ReadonlyMap<string, FittedReading>,
): Lines {
  const lines = new Map<string, { sum: Vec3; ids: Set<string> }>();
  for (const { id, sighting, setAside } of readings) {
    const seen = fitted.get(id);
    const sight = seen && sightOf(seen);
    if (sighting === undefined || setAside || !sight || !seen.used) continue;
    const line = lines.get(sighting) ?? { sum: [0, 0, 0], ids: new Set() };
    line.ids.add(id);
    lines.set(sighting, { ...line, sum: plus(line.sum, sight) });
  }
  return lines;
}

const sightOf = ({ azimuth, inclination }: FittedReading): Vec3 | undefined =>
  azimuth === undefined || inclination === undefined ? undefined : direction(azimuth, inclination);

/** The sighting along whose line a reading points, where it does not point along its own. */
function betterLine(
  { id, sighting }: KeptReading,
  seen: FittedReading,
  lines: Lines,
): ReadingRow['belongs'] {
  const sight = sightOf(seen);
  const own = sighting === undefined ? undefined : lines.get(sighting);
  // the rest of its sighting says where that points: without it nothing is known to be wrong
  if (!sight || !own) return undefined;
  const others = own.ids.has(id) ? plus(own.sum, [-sight[0], -sight[1], -sight[2]]) : own.sum;
  if (own.ids.size < (own.ids.has(id) ? 3 : 2) || angleBetween(sight, others) < OFF_LINE) {
    return undefined;
  }
  const near = [...lines]
    .filter(([name, { ids }]) => name !== sighting && ids.size > 1)
    .map(([name, { sum }]) => ({ name, apart: angleBetween(sight, sum) }))
    .sort((a, b) => a.apart - b.apart)[0];
  if (!near || near.apart > ON_LINE) return undefined;
  return {
    sighting: near.name,
    words: `It points along sighting ${near.name} (${degreesText(degrees(near.apart), 1)} off), not along its own`,
  };
}

/** How rows can be ordered. */
export const ROW_ORDERS = {
  newest: 'the newest first',
  oldest: 'the oldest first',
  sighting: 'sighting by sighting',
  misfit: 'the largest misfit first',
} as const;

export type RowOrder = keyof typeof ROW_ORDERS;

/** @param rows in the order of taking */
export function ordered(rows: readonly ReadingRow[], by: RowOrder): ReadingRow[] {
  switch (by) {
    case 'newest':
      return rows.toReversed();
    case 'oldest':
      return [...rows];
    case 'misfit':
      return rows.toSorted((a, b) => size(b) - size(a));
    case 'sighting': {
      const first = [...new Set(rows.map(({ sighting }) => sighting))];
      const place = ({ sighting }: ReadingRow) =>
        sighting === undefined ? first.length : first.indexOf(sighting);
      return rows.toSorted((a, b) => place(a) - place(b));
    }
  }
}

/** What the fit would leave out has no misfit, and comes first; what is set aside comes last. */
function size({ misfit, evidence }: ReadingRow): number {
  if (misfit !== ABSENT) return Number(misfit);
  return evidence.length > 0 ? Infinity : -1;
}

/** The sightings that a reading can be moved to, in words. */
export function sightingChoices({
  plan,
  readings,
}: CalibrationState): { sighting: string; words: string }[] {
  const counted = (sighting: string) =>
    readings.filter((row) => row.sighting === sighting && !row.setAside).length;
  const choice = (sighting: string, line: string) => ({
    sighting,
    words: `Sighting ${sighting}${line}, ${numbered(counted(sighting))}`,
  });
  const planned = plan.sightings.map((each) => choice(each.sighting, `: ${lineWords(each)}`));
  const known = new Set(plan.sightings.map(({ sighting }) => sighting));
  const others = new Set(readings.flatMap(({ sighting }) => sighting ?? []));
  return [
    ...planned,
    ...[...others].filter((name) => !known.has(name)).map((name) => choice(name, '')),
  ];
}

const numbered = (n: number): string =>
  n === 0 ? 'no readings' : n === 1 ? 'one reading' : `${n} readings`;
