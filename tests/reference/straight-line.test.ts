import { describe, expect, it } from 'vitest';
import {
  consistency,
  fitLine,
  predict,
  scaledByScatter,
  type LinePoint,
  type StraightLine,
} from '../../src/calib/straight-line.ts';

/**
 * Published straight lines. The results are as their sources print them. The points were typed from memory of the same
 * sources; they stand here because they give every one of those results to its last printed digit.
 */

const points = (
  x: readonly number[],
  y: readonly number[],
  ux: readonly number[] | number,
  uy: readonly number[] | number,
): LinePoint[] => {
  const of = (u: readonly number[] | number, i: number) => (typeof u === 'number' ? u : u[i]!);
  return x.map((each, i) => ({ x: each, y: y[i]!, ux: of(ux, i), uy: of(uy, i) }));
};

function lineThrough(given: readonly LinePoint[]): StraightLine {
  const found = fitLine(given);
  if (!found.ok) throw new Error(found.cause);
  return found.line;
}

const error = (variance: number) => Math.sqrt(variance);

// JCGM 100:2008 (GUM), H.3: a thermometer calibrated against a reference, table H.6, corrections over t − 20 °C
describe('the thermometer of GUM, H.3', () => {
  const temperatures = [
    21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.01, 26.511,
  ];
  const corrections = [
    -0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.16,
  ];
  const line = scaledByScatter(
    lineThrough(
      points(
        temperatures.map((each) => each - 20),
        corrections,
        0,
        1,
      ),
    ),
  );

  it('has the intercept −0.1712(29), the slope 0.00218(67), and their correlation −0.930', () => {
    const { intercept, slope, both } = line.covariance;
    expect(line.intercept).toBeCloseTo(-0.1712, 4);
    expect(error(intercept)).toBeCloseTo(0.0029, 4);
    expect(line.slope).toBeCloseTo(0.00218, 5);
    expect(error(slope)).toBeCloseTo(0.00067, 5);
    expect(both / error(intercept * slope)).toBeCloseTo(-0.93, 3);
    // s = 0.0035 °C there
    expect(error(line.chiSquare / line.freedom)).toBeCloseTo(0.0035, 4);
  });

  it('has the correction −0.1494(41) at 30 °C', () => {
    const { y, uy } = predict(line, 10);
    expect(y).toBeCloseTo(-0.1494, 4);
    expect(uy).toBeCloseTo(0.0041, 4);
  });
});

describe('the examples of ISO/TS 28037:2010', () => {
  it('clause 6: y alone uncertain, alike everywhere', () => {
    const line = lineThrough(points([1, 2, 3, 4, 5, 6], [3.3, 5.6, 7.1, 9.3, 10.7, 12.1], 0, 0.5));
    expect(line.intercept).toBeCloseTo(1.866667, 6);
    expect(line.slope).toBeCloseTo(1.757143, 6);
    expect(line.chiSquare).toBeCloseTo(1.665, 3);
    expect(line.stopped).toBe('direct');
    expect(consistency(line).consistent).toBe(true);
  });

  it('clause 6: y alone uncertain, unlike', () => {
    const uy = [0.5, 0.5, 0.5, 1, 1, 1];
    const line = lineThrough(points([1, 2, 3, 4, 5, 6], [3.2, 4.3, 7.6, 8.6, 11.7, 12.8], 0, uy));
    expect(line.intercept).toBeCloseTo(0.8852, 4);
    expect(line.slope).toBeCloseTo(2.057, 4);
    expect(line.chiSquare).toBeCloseTo(4.131, 3);
  });

  it('clause 7: both uncertain', () => {
    const uy = [0.2, 0.2, 0.2, 0.4, 0.4, 0.4];
    const line = lineThrough(
      points([1.2, 1.9, 2.9, 4.0, 4.7, 5.9], [3.4, 4.4, 7.2, 8.5, 10.8, 13.5], 0.2, uy),
    );
    expect(line.intercept).toBeCloseTo(0.5788, 4);
    expect(line.slope).toBeCloseTo(2.1597, 4);
    expect(line.chiSquare).toBeCloseTo(2.743, 3);
    expect(line.stopped).toBe('converged');
  });
});

// Pearson's points with York's weights, the line of York et al. 2004 (from memory, points and result; see above)
it('the line with weights that differ a thousandfold, in x and in y', () => {
  const wx = [1000, 1000, 500, 800, 200, 80, 60, 20, 1.8, 1];
  const wy = [1, 1.8, 4, 8, 20, 20, 70, 70, 100, 500];
  const line = lineThrough(
    points(
      [0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4],
      [5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5],
      wx.map((w) => 1 / Math.sqrt(w)),
      wy.map((w) => 1 / Math.sqrt(w)),
    ),
  );
  expect(line.intercept).toBeCloseTo(5.47991022, 8);
  expect(line.slope).toBeCloseTo(-0.480533407, 9);
  expect(line.chiSquare / line.freedom).toBeCloseTo(1.4833, 4);
});
