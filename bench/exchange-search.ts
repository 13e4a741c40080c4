import { meanSquares, traceOf } from '../src/calib/covariance.ts';
import type { Random } from '../firmware-sim/random.ts';
import { attitude } from '../src/calib/geometry.ts';
import type { Candidates, Knowledge } from '../src/calib/next-reading.ts';
import {
  gram,
  Joined,
  tell,
  traceOfQuotient,
  type Told,
} from '../src/calib/reading-information.ts';

/**
 * The best readings of a given number that an exchange search finds: Fedorov's exchange (1972, Theory of optimal
 * experiments) over all candidates, each at most once. One reading at a time is put where it helps most, then whole
 * lines are moved and turned, until neither helps; then a few readings are strewn anew and all is repeated, the better
 * design being kept. Slow; a measure for what is chosen step by step.
 */
export interface Pick {
  /** Indices into the candidates. */
  line: number;
  roll: number;
}

export class ExchangeSearch {
  readonly #width: number;
  readonly #prior: Float64Array;
  readonly #M: Float64Array;
  readonly #told: Told[];
  readonly #rolls: number;

  /** @param knowledge with a diagonal covariance and no sighting begun */
  constructor({ theta, covariance, noise }: Knowledge, candidates: Candidates) {
    this.#width = theta.length;
    this.#prior = Float64Array.from(theta, (_, i) => 1 / covariance[i * theta.length + i]!);
    this.#M = meanSquares(theta).azimuth;
    this.#rolls = candidates.rolls.length;
    this.#told = tell(
      theta,
      noise,
      candidates.directions.map(({ azimuth, inclination }) =>
        candidates.rolls.map((roll) => attitude(azimuth, inclination, roll)),
      ),
    );
  }

  /** The best of descents from some starts, each shaken so many times. */
  best(starts: readonly Pick[][], shakes: number, random: Random): { picks: Pick[]; phi: number } {
    let [picks, phi]: [Pick[], number] = [[], Infinity];
    for (const start of starts) {
      let design = this.#descend(start);
      for (let shake = 0; shake < shakes; shake++) {
        const other = this.#descend(this.#shaken(design.picks, random));
        if (other.phi < design.phi) design = other;
      }
      if (design.phi < phi) ({ picks, phi } = design);
    }
    return { picks, phi };
  }

  /** Readings strewn over a few lines. */
  randomStart(count: number, random: Random): Pick[] {
    const lines = Array.from({ length: 5 + random.below(6) }, () =>
      random.below(this.#told.length),
    );
    const picks: Pick[] = [];
    while (picks.length < count) {
      const pick = { line: lines[random.below(lines.length)]!, roll: random.below(this.#rolls) };
      if (!holds(picks, pick)) picks.push(pick);
      else lines.push(random.below(this.#told.length));
    }
    return picks;
  }

  #shaken(picks: readonly Pick[], random: Random): Pick[] {
    const next = [...picks];
    for (let i = 0; i < 5; i++) next.splice(random.below(next.length), 1);
    while (next.length < picks.length) {
      const pick = { line: random.below(this.#told.length), roll: random.below(this.#rolls) };
      if (!holds(next, pick)) next.push(pick);
    }
    return next;
  }

  #descend(start: readonly Pick[]): { picks: Pick[]; phi: number } {
    let picks = [...start];
    let phi = this.#phi(picks);
    for (;;) {
      const before = phi;
      for (let i = 0; i < picks.length; i++) {
        const others = picks.filter((_, k) => k !== i);
        const { C, joined } = this.#after(others);
        const Q = gram(C, this.#M, this.#width);
        const without = traceOf(this.#M, C);
        for (let line = 0; line < this.#told.length; line++) {
          const together = joined.get(line) ?? new Joined(this.#width);
          for (let roll = 0; roll < this.#rolls; roll++) {
            const pick = { line, roll };
            if (holds(others, pick)) continue;
            const rows = together.addition(this.#told[line]!, roll);
            const stack = new Float64Array(rows.length * this.#width);
            rows.forEach((row, k) => stack.set(row, k * this.#width));
            const P = gram(stack, C, this.#width);
            for (let k = 0; k < rows.length; k++) P[k * (rows.length + 1)]! += 1;
            const after = without - traceOfQuotient(P, gram(stack, Q, this.#width), rows.length);
            if (after < phi * (1 - 1e-9)) {
              phi = after;
              picks[i] = pick;
            }
          }
        }
      }
      for (const from of new Set(picks.map(({ line }) => line))) {
        const taken = new Set(picks.map(({ line }) => line));
        let top = { picks, phi };
        for (let to = 0; to < this.#told.length; to++) {
          if (to !== from && taken.has(to)) continue;
          for (let turn = 0; turn < this.#rolls; turn++) {
            const moved = picks.map((pick) =>
              pick.line === from ? { line: to, roll: (pick.roll + turn) % this.#rolls } : pick,
            );
            const after = this.#phi(moved);
            if (after < top.phi * (1 - 1e-9)) top = { picks: moved, phi: after };
          }
        }
        ({ picks, phi } = top);
      }
      if (phi > before * (1 - 1e-5)) return { picks, phi };
    }
  }

  #phi(picks: readonly Pick[]): number {
    return traceOf(this.#M, this.#after(picks).C);
  }

  /** The covariance after some readings, by inverting the sum of all they tell. */
  #after(picks: readonly Pick[]): { C: Float64Array; joined: Map<number, Joined> } {
    const width = this.#width;
    const information = new Float64Array(width * width);
    this.#prior.forEach((value, i) => (information[i * (width + 1)] = value));
    const joined = new Map<number, Joined>();
    for (const { line, roll } of picks) {
      const together = joined.get(line) ?? new Joined(width);
      joined.set(line, together);
      for (const x of together.join(this.#told[line]!, roll)) {
        for (let i = 0; i < width; i++) {
          for (let c = 0; c <= i; c++) information[i * width + c]! += x[i]! * x[c]!;
        }
      }
    }
    return { C: inverseOf(information, width), joined };
  }
}

const holds = (picks: readonly Pick[], { line, roll }: Pick): boolean =>
  picks.some((pick) => pick.line === line && pick.roll === roll);

/** Inverse of a symmetric, positive definite matrix, from its lower triangle (overwritten), by Cholesky. */
function inverseOf(S: Float64Array, n: number): Float64Array {
  const L = S;
  for (let j = 0; j < n; j++) {
    for (let i = j; i < n; i++) {
      let sum = L[i * n + j]!;
      for (let k = 0; k < j; k++) sum -= L[i * n + k]! * L[j * n + k]!;
      L[i * n + j] = i === j ? Math.sqrt(sum) : sum / L[j * n + j]!;
    }
  }
  const inverse = new Float64Array(n * n);
  for (let c = 0; c < n; c++) {
    for (let i = c; i < n; i++) {
      let sum = i === c ? 1 : 0;
      for (let k = c; k < i; k++) sum -= L[i * n + k]! * inverse[k * n + c]!;
      inverse[i * n + c] = sum / L[i * n + i]!;
    }
  }
  const out = new Float64Array(n * n);
  for (let i = 0; i < n; i++) {
    for (let c = 0; c <= i; c++) {
      let sum = 0;
      for (let k = i; k < n; k++) sum += inverse[k * n + i]! * inverse[k * n + c]!;
      out[i * n + c] = sum;
      out[c * n + i] = sum;
    }
  }
  return out;
}
