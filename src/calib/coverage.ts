import { EigenvalueDecomposition, Matrix } from 'ml-matrix';
import { extent } from './ellipsoid.ts';
import type { Reading, Vec3 } from './reading.ts';

/** What a set of readings lacks, in words a person can act on. */
export interface Gap {
  message: string;
  next: string;
}

const SENSORS = { acc: 'accelerometer', mag: 'magnetometer' };

/**
 * Says what is missing where one sensor's readings determine no ellipsoid.
 *
 * @param noEllipsoid whether the fit of the ellipsoid failed
 * @returns undefined where nothing is missing
 */
export function describeGap(
  readings: readonly Reading[],
  noEllipsoid: boolean,
  sensor: 'acc' | 'mag',
): Gap | undefined {
  const points = readings.map((reading) => reading[sensor]);
  const name = SENSORS[sensor];
  const { middle, radius } = extent(points);
  const [least, , most] = principalScatter(points, middle);
  // Where all points share a direction they lie close together, far from zero. A magnetometer's offset may be several
  // times the field, so there "far" must mean more.
  if (radius < (sensor === 'acc' ? 0.3 : 0.1) * Math.hypot(...middle)) {
    return {
      message: `The ${name} points nearly the same way in every reading (as when every reading is level): its offset along that direction, up and down, is not determined.`,
      next: 'Take readings with the sight up, down and level, and with the instrument rolled on each side and upside down.',
    };
  }
  if (least! < 0.001 * most!) {
    return {
      message: `The ${name} turns in one plane only (as when every reading has the same roll, or all directions lie in one plane): its offset and scale across that plane are not determined.`,
      next: 'Take readings at other rolls: a quarter turn left and right and upside down, in each direction.',
    };
  }
  if (noEllipsoid) {
    return {
      message: `The readings of the ${name} lie on no ellipsoid that they determine: too much of the sphere is missing, or readings are badly disturbed.`,
      next: 'Take readings in the directions that are missing; leave out those taken while moving or near steel.',
    };
  }
  return undefined;
}

/** Variances of points along their principal axes, least first. */
function principalScatter(points: readonly Vec3[], middle: Vec3): number[] {
  const scatter = new Float64Array(9);
  for (const point of points) {
    const d = [point[0] - middle[0], point[1] - middle[1], point[2] - middle[2]];
    for (let i = 0; i < 9; i++) scatter[i] += d[Math.floor(i / 3)] * d[i % 3];
  }
  const symmetric = Matrix.from1DArray(3, 3, scatter);
  return new EigenvalueDecomposition(symmetric, { assumeSymmetric: true }).realEigenvalues
    .map((value) => value / points.length)
    .sort((a, b) => a - b);
}
