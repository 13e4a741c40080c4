import { angleBetween, direction } from './geometry.ts';

/** The sightings still to take, in order, with their aims. Radians. */

export interface PlannedSighting {
  /** What the sighting is called in tables and files. */
  name: string;
  azimuth: number;
  inclination: number;
  /** Rolls to take, in order. */
  rolls: readonly number[];
}

const QUARTERS = [0, 1, 2, 3].map((quarter) => (quarter * Math.PI) / 2);
const CORNER = Math.atan(Math.SQRT1_2);

/**
 * The customary plan (common practice in the trade): along the six faces and eight corners of a cube, four rolls each,
 * a quarter turn apart; 56 readings.
 *
 * The order is the one with the least turning from aim to aim, starting level and north, so that the person re-aims
 * least.
 */
export function cubePlan(): PlannedSighting[] {
  const faces = QUARTERS.map((azimuth) => [azimuth, 0]);
  const corners = [CORNER, -CORNER].flatMap((inclination) =>
    QUARTERS.map((azimuth) => [azimuth + Math.PI / 4, inclination]),
  );
  const aims = [...faces, ...corners, [0, Math.PI / 2], [0, -Math.PI / 2]].map(
    ([azimuth, inclination]) => ({ azimuth: azimuth!, inclination: inclination! }),
  );
  return leastTurning(aims.map((aim) => direction(aim.azimuth, aim.inclination))).map(
    (index, position) => ({ name: String(position + 1), ...aims[index]!, rolls: QUARTERS }),
  );
}

/**
 * The order that visits every direction once, from the first, with the least sum of angles: the shortest Hamiltonian
 * path, exactly, by Held and Karp (1962), A dynamic programming approach to sequencing problems. Work grows as n² 2ⁿ.
 *
 * @returns indices into `directions`
 */
export function leastTurning(directions: readonly (readonly [number, number, number])[]): number[] {
  const n = directions.length;
  const angle = directions.map((a) => directions.map((b) => angleBetween(a, b)));
  const full = 1 << n;
  // best[visited * n + last]: least turning over paths from 0 through `visited` that end at `last`
  const best = new Float64Array(full * n).fill(Infinity);
  const before = new Int8Array(full * n).fill(-1);
  best[n * 1] = 0;
  for (let visited = 1; visited < full; visited += 2) {
    for (let last = 0; last < n; last++) {
      const sofar = best[visited * n + last]!;
      if (sofar === Infinity) continue;
      for (let next = 1; next < n; next++) {
        if (visited & (1 << next)) continue;
        const at = (visited | (1 << next)) * n + next;
        const sum = sofar + angle[last]![next]!;
        if (sum < best[at]! - 1e-12) {
          best[at] = sum;
          before[at] = last;
        }
      }
    }
  }
  let visited = full - 1;
  let last = 0;
  for (let i = 1; i < n; i++) {
    if (best[visited * n + i]! < best[visited * n + last]! || last === 0) last = i;
  }
  const order: number[] = [];
  while (last !== -1) {
    order.unshift(last);
    const previous = before[visited * n + last]!;
    visited &= ~(1 << last);
    last = previous;
  }
  return order;
}
