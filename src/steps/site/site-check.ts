import { coefficientsFrom } from '../../calib/model.ts';
import type { SensedReading } from '../../protocol/messages.ts';
import type { Board } from '../../protocol/board.ts';
import type { Entry, SiteCheckRecord, SiteSpot } from '../../records/entries.ts';
import { messageOf } from '../bench-words.ts';
import { stillnessOf } from '../collecting/stillness.ts';
import type { BenchPlace } from '../place.ts';
import type { Work } from '../place-state.ts';
import type { BenchSite } from './bench-site.ts';
import { decimalYear, type EarthField } from './earth-field.ts';
import { expectedField } from './expected-field.ts';
import { fits, judgeSite, noiseOf, spotOf } from './site-judgement.ts';

/** How many readings are taken at a spot: their mean has a third of the noise of one, and they take some three seconds. */
export const READINGS = 8;
/** How many are tried before the board counts as never still. */
const TRIES = 32;
/** A second spot belongs to the first for so long, milliseconds: what changes with the hours is not told from steel. */
const TOGETHER = 30 * 60_000;
/** How far a simulated hand walks, metres. */
const STEPS = 1;

/** Which spot: the one that is to be worked at, or one a metre on. */
export type Spot = 'first' | 'second';

/** The check that a second spot would belong to; undefined where there is none, or it is too old. */
export function openCheck(
  { state }: Pick<BenchPlace, 'state'>,
  now: Date,
): SiteCheckRecord | undefined {
  const { newest } = state.history.site;
  const first = newest?.spots[0];
  const since = first && now.getTime() - Date.parse(first.time);
  return since !== undefined && since >= 0 && since < TOGETHER ? newest : undefined;
}

/**
 * Takes readings at a spot, judges, and writes it to the board's entries; nothing is kept on the board. What goes wrong
 * with the board is shown at its place.
 *
 * @returns whether it was written; where not, why, what is safe and what to do next, unless that is shown at the place, it
 * was stopped, or something else was being done there
 */
export async function checkSite(
  { place, site, today }: { place: BenchPlace; site: BenchSite; today: () => Date },
  which: Spot,
): Promise<SiteOutcome> {
  let taken: Taken | undefined;
  let never = false;
  const hand = place.tie?.simulated?.control;
  await place.withBoard({ what: WHAT, stoppable: true }, async (board, signal, show) => {
    await site.read();
    await hand?.walk(which === 'second' ? STEPS : 0);
    try {
      taken = await takeSpot(board, signal, show);
      never = taken === undefined;
    } finally {
      await hand?.walk(0);
    }
  });
  if (never) return { written: false, fault: NEVER_STILL };
  if (!taken) return { written: false };
  const before = which === 'second' ? openCheck(place, today()) : undefined;
  try {
    await place.record(entryOf(place, site, today(), taken, before));
    return { written: true };
  } catch (error) {
    return { written: false, fault: messageOf(error) };
  }
}

export type SiteOutcome = { written: true } | { written: false; fault?: string };

const WHAT = 'Looking at the field here';
const NEVER_STILL = `The board was hardly ever still, so nothing was written. Lay it down, or prop it against something that is not steel, and take the readings again.`;

interface Taken {
  readings: readonly SensedReading[];
  moved: number;
  /** What the board runs now. */
  inForce: Awaited<ReturnType<Board['coefficients']>>;
  identity: Board['identity'];
}

/** Readings of the board held still; undefined where it never was. */
async function takeSpot(
  board: Board,
  signal: AbortSignal,
  show: (work: Work) => void,
): Promise<Taken | undefined> {
  const { identity } = board;
  const inForce = await board.coefficients('in_force', signal);
  const readings: SensedReading[] = [];
  let before: SensedReading | undefined;
  let moved = 0;
  for (let tries = 0; readings.length < READINGS; tries++) {
    if (tries === TRIES) return undefined;
    show({ what: WHAT, done: readings.length, of: READINGS, stoppable: true });
    const now = await board.sense(signal);
    // by gravity alone: a field that comes and goes is what is looked for
    const { still } = stillnessOf(gravityOf(now), before && gravityOf(before), identity);
    before = now;
    if (still) readings.push(now);
    else moved++;
  }
  return { readings, moved, inForce, identity };
}

const gravityOf = ({ acc, accScatter, samples }: SensedReading) => ({
  acc,
  mag: [0, 0, 0] as const,
  ...(accScatter && { accScatter }),
  ...(samples !== undefined && { samples }),
});

function entryOf(
  place: BenchPlace,
  site: BenchSite,
  now: Date,
  { readings, moved, inForce, identity }: Taken,
  before: SiteCheckRecord | undefined,
): Entry {
  const { history } = place.state;
  const coefficients = inForce && coefficientsFrom(inForce.model, inForce.values);
  const isFit = coefficients !== undefined && fits(readings, coefficients);
  const through =
    isFit && inForce ? { generation: inForce.generation, crc: inForce.crc } : undefined;
  const time = now.toISOString();
  const spot = spotOf(readings, identity, isFit ? coefficients : undefined, { time, moved });
  const isTogether = before !== undefined && before.through?.crc === through?.crc;
  const spots: readonly SiteSpot[] = isTogether ? [before.spots[0]!, spot] : [spot];
  const expected = expectedField(site.kept, now);
  const { madeIn } = history.site;
  const strength =
    madeIn !== undefined && madeIn.crc === through?.crc ? madeIn.strength : undefined;
  const { calibration } = history;
  return {
    kind: 'site checked',
    board: identity.serial,
    time,
    ...(calibration && !calibration.ended && { calibration: calibration.id }),
    ...(site.kept.place && { place: site.kept.place }),
    ...(expected && { expected: kept(expected) }),
    ...(through && { through }),
    ...(strength !== undefined && { madeIn: strength }),
    spots,
    ...judgeSite(spots, {
      noise: noiseOf(identity),
      ...(expected && { expected, yearsOut: yearsOut(expected, now) }),
      ...(strength !== undefined && { madeIn: strength }),
      unfit: coefficients !== undefined && !isFit,
    }),
  };
}

const kept = ({ model, valid, declination, dip, strength }: EarthField) => ({
  model,
  valid,
  declination,
  dip,
  strength,
});

/** How far out of what its model covers a day is, years. */
function yearsOut({ covers }: EarthField, now: Date): number {
  const year = decimalYear(now);
  return Math.max(0, covers.from - year, year - covers.until);
}
