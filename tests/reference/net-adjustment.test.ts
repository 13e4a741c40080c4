import { Matrix, pseudoInverse } from 'ml-matrix';
import { describe, expect, it } from 'vitest';
import { madeUpCourse, TOLERANCE } from '../../bench/made-up-course.ts';
import { systemOf, legInclinations } from '../../src/calib/course-observations.ts';
import { AdjustmentDesign, type Terms } from '../../src/calib/least-squares-adjustment.ts';

/**
 * Ghilani, Adjustment computations, example 12.6, by way of Krumm 2020, Geodetic network adjustment examples: a levelling
 * net of four points, one of known height. Metres; standard deviations of the observed differences in millimetres.
 */
const KNOWN = 437.596;
const DIFFERENCES: [from: number, to: number, difference: number, sigma: number][] = [
  [0, 1, 10.509, 6],
  [0, 2, 15.881, 12],
  [1, 2, 5.36, 4],
  [1, 3, -3.167, 4],
  [2, 3, -8.523, 5],
  [3, 0, -7.348, 3],
];
const rows = DIFFERENCES.map(([from, to]): Terms => [
  [to, 1],
  [from, -1],
]);
const values = DIFFERENCES.map(([, , difference]) => difference);
const weights = DIFFERENCES.map(([, , , sigma]) => (sigma / 1000) ** -2);

describe('the levelling net of Ghilani, Adjustment computations, example 12.6', () => {
  const design = new AdjustmentDesign(4, rows, [{ terms: [[0, 1]], value: KNOWN }]);
  const adjusted = design.solve(values, weights)!;
  const freedom = rows.length - design.rank;

  it('has the published heights', () => {
    expect(adjusted.x[0]).toBeCloseTo(KNOWN, 9);
    expect(adjusted.x[1]).toBeCloseTo(448.10871, 5);
    expect(adjusted.x[2]).toBeCloseTo(453.46847, 5);
    expect(adjusted.x[3]).toBeCloseTo(444.94361, 5);
  });

  it('has the published sum of squares, standard deviation of unit weight, and standard deviations', () => {
    expect(freedom).toBe(3);
    // printed as 1.27212 from rounded residuals
    expect(adjusted.squares).toBeCloseTo(1.27212, 4);
    const unit = Math.sqrt(adjusted.squares / freedom);
    expect(unit).toBeCloseTo(0.6512, 4);
    [2.3, 2.64, 1.76].forEach((millimetres, i) => {
      const sd = unit * Math.sqrt(adjusted.varianceOf([[i + 1, 1]])!);
      expect(sd * 1000).toBeCloseTo(millimetres, 2);
    });
    // what height 2 is uncertain by, all observations together make
    const shares = adjusted.sharesOf([[1, 1]]);
    expect(shares.reduce((sum, share) => sum + share, 0)).toBeCloseTo(
      adjusted.varianceOf([[1, 1]])!,
      12,
    );
  });

  it('without the known height determines differences alone, the same ones, and refuses a covariance', () => {
    const free = new AdjustmentDesign(4, rows);
    const loose = free.solve(values, weights)!;
    expect(free.undetermined).toBe(1);
    expect(loose.covariance()).toBeUndefined();
    expect(loose.varianceOf([[1, 1]])).toBeUndefined();
    const difference: Terms = [
      [1, 1],
      [0, -1],
    ];
    expect(loose.valueOf(difference)).toBeCloseTo(448.10871 - KNOWN, 5);
    expect(loose.varianceOf(difference)).toBeCloseTo(adjusted.varianceOf([[1, 1]])!, 12);
    expect(loose.squares).toBeCloseTo(adjusted.squares, 10);
  });

  it('contradicts itself where one height is given two values', () => {
    const twice = [KNOWN, KNOWN + 1].map((value) => ({ terms: [[0, 1]] as Terms, value }));
    expect(() => new AdjustmentDesign(4, rows, twice)).toThrow('contradict');
  });
});

describe('a second dense solution, by the pseudo-inverse of the whole weighted design (ml-matrix, by its SVD),', () => {
  it.each([true, false])('agrees with the adjustment of a check course, datum: %s', (hasDatum) => {
    const { course } = madeUpCourse({ seed: 5, instruments: 4, each: 1 });
    const system = systemOf(
      'azimuth',
      course,
      {
        tolerance: TOLERANCE,
        ...(hasDatum && {
          legs: [{ leg: 'leg 2', azimuth: { value: 1.3, sigma: 0.002 } }],
          disturbances: { by: 'zero mean', sigma: 0.001 },
        }),
      },
      legInclinations(course),
    );
    const design = new AdjustmentDesign(system.unknowns, system.rows, system.conditions);
    const observed = system.weighed.map(({ value }) => value);
    const sigmas = system.weighed.map(({ sigma }) => sigma);
    const adjusted = design.solve(
      observed,
      sigmas.map((sigma) => sigma ** -2),
    )!;

    const A = Matrix.zeros(system.rows.length, system.unknowns);
    system.rows.forEach((terms, j) => {
      for (const [i, k] of terms) A.set(j, i, A.get(j, i) + k / sigmas[j]);
    });
    const inverse = pseudoInverse(A, 1e-9);
    const x = inverse
      .mmul(Matrix.columnVector(observed.map((value, j) => value / sigmas[j])))
      .to1DArray();
    const Q = inverse.mmul(inverse.transpose());
    const functions: Terms[] = system.names.map((_, i): Terms => [[i, 1]]);
    const determined = hasDatum ? functions : [];
    expect(design.undetermined).toBe(hasDatum ? 0 : 2);
    // differences of the instruments' constants are determined either way
    const difference: Terms = [
      [system.instrumentAt(2), 1],
      [system.instrumentAt(0), -1],
    ];
    for (const terms of [...determined, difference]) {
      const expected = terms.reduce((sum, [i, k]) => sum + k * x[i], 0);
      const variance = terms.reduce(
        (sum, [i, k]) => sum + terms.reduce((part, [j, l]) => part + k * l * Q.get(i, j), 0),
        0,
      );
      expect(adjusted.valueOf(terms)).toBeCloseTo(expected, 9);
      expect(adjusted.varianceOf(terms)! / variance).toBeCloseTo(1, 6);
    }
    // the pseudo-inverse knows what is determined in a way of its own: A⁺A leaves those functions as they are
    const projected = inverse.mmul(A);
    functions.forEach((terms, i) => {
      expect(design.determines(terms)).toBe(Math.abs(projected.get(i, i) - 1) < 1e-6);
    });
  });
});
