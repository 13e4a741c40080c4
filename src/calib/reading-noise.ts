import { DIP } from './calibration-problem.ts';
import { meanSquares, type AngleErrors, type Uncertainty } from './covariance.ts';

/**
 * What the noise of one reading does to the angles it shows, however good the coefficients are. Noise in a chip's counts
 * shifts them as an error of its offset would, so that its part is Σ M_oo σ² over the chip's three offsets, M the mean
 * squares of the angles' derivatives.
 *
 * @param noise of a reading per axis, counts over scale
 * @returns standard deviation of azimuth × cos inclination and of inclination over all attitudes, radians
 */
export function readingNoise(
  { theta }: Pick<Uncertainty, 'theta'>,
  noise: { acc: number; mag: number },
): AngleErrors {
  const squares = meanSquares(theta);
  const of = (M: Float64Array) => {
    let variance = 0;
    for (let offset = 3; offset < DIP; offset += 4) {
      const sigma = offset < 12 ? noise.acc : noise.mag;
      variance += M[offset * theta.length + offset]! * sigma ** 2;
    }
    return Math.sqrt(variance);
  };
  return { azimuth: of(squares.azimuth), inclination: of(squares.inclination) };
}
