import type { NoiseScales } from './calibration-problem.ts';
import type { FittedReading } from './answer.ts';
import { angleBetween, degrees } from './geometry.ts';
import { sightOf, type Coefficients } from './model.ts';
import { refine, type Estimate } from './noise.ts';
import { chiSquareQuantile } from './quantiles.ts';
import type { Reading } from './reading.ts';
import { directionStatistics } from './spread.ts';
import { observe, without, type Data, type State } from './state.ts';

/** Bad readings: found by how little they agree with the others, and named by what about them is off. */

/** A set without a bad reading has this chance of losing one to screening. */
const FALSE_ALARM = 0.01;
/** Most of the readings that screening may set aside: beyond, the set as a whole is in question. */
const MOST_SET_ASIDE = 0.25;
/** Degrees of freedom of one reading's residuals once its own attitude is taken out of them. */
export const freedomOf = (data: Data, j: number) => (data.sighting[j] < 0 ? 3 : 5);

/**
 * Solves, and, while one reading disagrees too much to be chance, sets the worst aside and solves again.
 *
 * @param scaled all readings, counts over scale, with `from` holding an attitude for each
 * @param screening false to use every reading
 */
export function refineScreened(
  scaled: readonly Reading[],
  sightFound: boolean,
  from: State,
  declared: NoiseScales,
  screening: boolean,
): { estimate: Estimate; iterations: number; setAside: string[]; tooMany: boolean } {
  const used = scaled.map(() => true);
  const setAside: string[] = [];
  let [state, noise, iterations] = [from, declared, 0];
  for (;;) {
    const estimate = refine(observe(scaled, used, sightFound), state, noise);
    iterations += estimate.summary.iterations;
    const worst = screening && estimate.checks ? worstReading(estimate) : undefined;
    const tooMany = worst !== undefined && setAside.length + 1 > MOST_SET_ASIDE * scaled.length;
    if (worst === undefined || tooMany) return { estimate, iterations, setAside, tooMany };
    const index = estimate.data.index[worst];
    used[index] = false;
    setAside.push(scaled[index].id);
    state = without(estimate.problem, worst);
    ({ noise } = estimate);
  }
}

/**
 * The observation that agrees least with the others, where it disagrees too much to be chance. Its χ² is held against
 * the median of all, since bad readings swell the noise found and would else hide each other.
 */
function worstReading({ data, checks }: Estimate): number | undefined {
  const freedoms = Array.from(checks!, (_, j) => freedomOf(data, j));
  const quantiles = new Map(
    [...new Set(freedoms)].map((freedom) => [
      freedom,
      {
        middle: chiSquareQuantile(0.5, freedom),
        limit: chiSquareQuantile(1 - FALSE_ALARM / data.count, freedom),
      },
    ]),
  );
  const ratios = Array.from(
    checks!,
    (chiSquare, j) => chiSquare / quantiles.get(freedoms[j])!.middle,
  );
  const middle = Math.min(1, median(ratios.filter(Number.isFinite)));
  let worst: number | undefined;
  let most = 1;
  checks!.forEach((chiSquare, j) => {
    const excess = chiSquare / middle / quantiles.get(freedoms[j])!.limit;
    if (excess > most) [worst, most] = [j, excess];
  });
  return worst;
}

function median(values: number[]): number {
  const sorted = [...values].sort((a, b) => a - b);
  return sorted.length === 0 ? 1 : sorted[Math.floor(sorted.length / 2)];
}

/** Names what is wrong with a reading that was set aside, by the evidence that stands out most. */
export function whyBad(
  id: string,
  readings: readonly Reading[],
  all: readonly FittedReading[],
  coefficients: Coefficients,
  dip: number,
  noise: NoiseScales,
): string {
  const i = readings.findIndex((reading) => reading.id === id);
  const view = all[i];
  const percent = (length: number) => `${((length - 1) * 100).toFixed(1)} %`;
  const evidence = [
    {
      size: Math.abs(view.gravity - 1) / noise.acc,
      words: `gravity's length is off by ${percent(view.gravity)}: the board was moving`,
    },
    {
      size: Math.abs(view.field - 1) / noise.mag,
      words: `the field's length is off by ${percent(view.field)}: the field was disturbed`,
    },
  ];
  if (view.dip !== undefined) {
    evidence.push({
      size: Math.abs(view.dip - dip) / Math.hypot(noise.acc, noise.mag),
      words: `the dip is off by ${degrees(view.dip - dip).toFixed(1)}°: the field was disturbed, or the board was moving`,
    });
  }
  const companions = readings.filter(
    (reading, k) => all[k].used && reading.sighting === readings[i].sighting,
  );
  const sight = sightOf(readings[i], coefficients);
  if (readings[i].sighting !== undefined && companions.length > 0 && sight) {
    const sights = companions.map((reading) => sightOf(reading, coefficients));
    const mean = directionStatistics(sights.filter((other) => other !== undefined))?.mean;
    if (mean) {
      const off = angleBetween(sight, mean);
      evidence.push({
        size: off / Math.hypot(noise.aim, noise.acc, noise.mag),
        words: `it points ${degrees(off).toFixed(1)}° away from the rest of its sighting: wrong aim`,
      });
    }
  }
  const { size, words } = evidence.reduce((a, b) => (b.size > a.size ? b : a));
  // one set in a hundred loses a reading to chance, at a departure no larger than this
  return size < CHANCE_REACHES ? `${words.split(':')[0]!}: perhaps disturbed, or chance` : words;
}

/** Standard deviations: among some hundred figures of a set chance may reach this, and a disturbance seldom stays below. */
const CHANCE_REACHES = 5;
