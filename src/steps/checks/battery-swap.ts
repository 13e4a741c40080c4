import { interval95 } from '../../calib/quantiles.ts';
import {
  cross,
  degrees,
  dot,
  inverse,
  length,
  rotate,
  turn,
  unit,
  type Mat3,
} from '../../calib/geometry.ts';
import type { Vec3 } from '../../calib/reading.ts';
import type { CheckFigure } from '../../records/entries.ts';
import { rollWords } from '../attitude-words.ts';
import { figureOf, standingOf } from './estimate.ts';
import type { SeenWhole, Taken } from './taken.ts';

/** Attitudes must tell the three directions apart this well: the least over the greatest eigenvalue is about this. */
const TOO_FLAT = 0.02;

/**
 * The same attitudes before and after a change of battery: the change of hard iron Δ, body axes, in units of the calibrated
 * field. It turns magnetic north by −Δ·e/H, e the unit vector to the east in the body and H the horizontal part of the
 * field, so that azimuth × cos inclination changes by y = −cos β Δ·e/H. Δ is fitted to the changes of all attitudes by
 * least squares; what they differ by from the fit is their scatter, with as many degrees of freedom as pairs of readings less
 * three. In no attitude can azimuth × cos inclination change by more than |Δ|/H. Any other error of the coefficients is
 * alike before and after, so their covariance is not in the interval.
 *
 * @returns undefined where the marks lie so that the attitudes do not tell all three directions of Δ
 */
export function batterySwapFigures({
  groups,
  after,
  limit,
}: Taken & { after: Taken['groups'] }): CheckFigure[] | undefined {
  const attitudes = [...groups].map(([group, readings]) => {
    const later = after.get(group)!;
    const pairs = readings.slice(0, later.length).map((one, i) => {
      const level = Math.cos(one.inclination);
      return { row: rowOf(one, level), change: turn(one.azimuth, later[i]!.azimuth) * level };
    });
    return { group, pairs };
  });
  const rows = attitudes.flatMap(({ pairs }) => pairs);
  const normal = [0, 1, 2].flatMap((i) =>
    [0, 1, 2].map((k) => rows.reduce((sum, { row }) => sum + row[i]! * row[k]!, 0)),
  ) as unknown as Mat3;
  const cofactors = inverse(normal);
  const trace = (m: Mat3) => m[0] + m[4] + m[8];
  if (!(trace(normal) * trace(cofactors) < 1 / TOO_FLAT)) return undefined;
  const right = [0, 1, 2].map((i) =>
    rows.reduce((sum, { row, change }) => sum + row[i]! * change, 0),
  );
  const iron = rotate(cofactors, right as unknown as Vec3);
  const squares = rows.reduce((sum, { row, change }) => sum + (change - dot(row, iron)) ** 2, 0);
  const freedom = rows.length - 3;
  const scatter = Math.sqrt(squares / freedom);
  const halfOf = (row: Vec3) =>
    interval95(scatter * Math.sqrt(Math.max(0, dot(row, rotate(cofactors, row)))), freedom);
  const n = 2 * rows.length;
  const { b, horizontal } = fieldOf([...groups.values()].map((readings) => readings[0]!));
  const size = length(iron);
  const along: Vec3 = size === 0 ? [1, 0, 0] : unit(iron);
  const sizeHalf = halfOf(along);
  return [
    figureOf(
      'Azimuth × cos inclination, in the attitude where it changes most',
      { value: degrees(size / horizontal), half: degrees(sizeHalf / horizontal), n },
      '°',
      limit,
    ),
    ...attitudes.map(({ group, pairs }) => {
      const { row } = pairs[0]!;
      const [mark, roll] = group.split(' ');
      const value = degrees(dot(row, iron));
      const half = degrees(halfOf(row));
      const name = `Azimuth × cos inclination at mark ${mark}, ${rollWords(Number(roll))}`;
      return {
        name,
        value,
        half,
        unit: '°' as const,
        limit,
        standing: standingOf(value, half, limit),
        n,
      };
    }),
    {
      name: 'Hard iron, of the field',
      value: (100 * size) / b,
      half: (100 * sizeHalf) / b,
      unit: '%',
      n,
    },
  ];
}

function rowOf({ g, b }: SeenWhole, level: number): Vec3 {
  const east = cross(unit(g), b); // as long as the horizontal part of the field
  const horizontal = length(east);
  const k = -level / horizontal ** 2;
  return [east[0] * k, east[1] * k, east[2] * k];
}

/** Mean length of the field, and of its horizontal part. */
function fieldOf(readings: readonly SeenWhole[]): { b: number; horizontal: number } {
  const mean = (of: (reading: SeenWhole) => number) =>
    readings.reduce((sum, each) => sum + of(each), 0) / readings.length;
  return {
    b: mean(({ b }) => length(b)),
    horizontal: mean(({ g, b }) => length(cross(unit(g), b))),
  };
}
