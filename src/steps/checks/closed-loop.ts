import { interval95 } from '../../calib/covariance.ts';
import { degrees, radians, turn } from '../../calib/geometry.ts';
import type { CheckFigure, CheckTerms } from '../../records/entries.ts';
import {
  calibrationPart,
  combined,
  figureOf,
  mean,
  middleOf,
  scatterOf,
  withinLimits,
  type Term,
} from './estimate.ts';
import type { SeenWhole, Taken } from './taken.ts';

/**
 * A closed loop of n legs, each sighted from both ends.
 *
 * Misclosure of azimuth: the angles turned at the marks, fore azimuth less back azimuth, add up to whole half turns; what
 * is left over is the sum over the legs of fore less back (less half a turn). Iron near a mark turns both azimuths that
 * are read there alike, so it is not in it. Held against the tolerance times √(2n), as 2n sights that are each off by
 * it, independently, would give.
 *
 * Misclosure of position: the sum of the legs along north, east and up, each from the mean of its two sights. Held against
 * the tolerance times √ΣL², for the same reason; what the lengths may be off by is in the interval alone.
 *
 * Scatter of a single sight is that of fore against back over the legs, over √2.
 */
export function closedLoopFigures(
  { groups, calibration, limit }: Taken,
  { lengths, lengthsTo }: CheckTerms & { check: 'loop' },
): CheckFigure[] {
  const legs = lengths.map((span, i) =>
    legOf(span, groups.get(`fore ${i + 1}`)!, groups.get(`back ${i + 1}`)!),
  );
  const sights = 2 * legs.length;
  const n = [...groups.values()].reduce((sum, readings) => sum + readings.length, 0);
  const aim = scatterOf([legs.map(({ differs }) => differs)]);
  const tilt = scatterOf([legs.map(({ sum }) => sum)]);
  const single = {
    azimuth: { ...aim, error: aim.error / Math.SQRT2 },
    inclination: { ...tilt, error: tilt.error / Math.SQRT2 },
  };
  const left = legs.reduce((sum, { differs }) => sum + differs, 0);
  const around = combined([
    { ...single.azimuth, error: single.azimuth.error * Math.sqrt(sights) },
    ...(calibration
      ? [
          calibrationPart(
            legs.flatMap(({ fore, back }) => [fore.azimuth(1), back.azimuth(-1)]),
            calibration,
          ),
        ]
      : []),
  ]);
  const reach = Math.hypot(...lengths);
  const length = withinLimits(lengthsTo);
  return [
    figureOf(
      'Misclosure of azimuth × cos inclination, all legs together',
      { value: degrees(left), half: degrees(interval95(around.error, around.freedom)), n },
      '°',
      limit * Math.sqrt(sights),
    ),
    ...DIRECTIONS.map(({ name, along }) => {
      const parts = legs.map((leg) => ({ leg, ...along(leg) }));
      const value = parts.reduce((sum, { leg, whole }) => sum + leg.span * whole, 0);
      const size = (part: 'byAzimuth' | 'byInclination') =>
        Math.hypot(...parts.map((each) => (each.leg.span * each[part]) / Math.SQRT2));
      const { error, freedom } = combined([
        { ...single.azimuth, error: single.azimuth.error * size('byAzimuth') },
        { ...single.inclination, error: single.inclination.error * size('byInclination') },
        { error: length * Math.hypot(...parts.map(({ whole }) => whole)), freedom: Infinity },
        ...(calibration
          ? [
              calibrationPart(
                parts.flatMap(({ leg: { span, fore, back }, byAzimuth, byInclination }) => [
                  fore.azimuth((span * byAzimuth) / 2),
                  back.azimuth((span * byAzimuth) / 2),
                  fore.inclination((span * byInclination) / 2),
                  back.inclination((-span * byInclination) / 2),
                ]),
                calibration,
              ),
            ]
          : []),
      ]);
      const found = { value, half: interval95(error, freedom), n };
      return figureOf(`Misclosure of position, ${name}`, found, 'm', radians(limit) * reach);
    }),
  ];
}

interface Leg {
  span: number;
  azimuth: number;
  inclination: number;
  /** Fore less back: azimuth × cos inclination, less half a turn; and the two inclinations together. */
  differs: number;
  sum: number;
  /** A weighted part of a figure that is read fore, or back. */
  fore: Record<Term['angle'], (weight: number) => Term>;
  back: Record<Term['angle'], (weight: number) => Term>;
}

function legOf(span: number, fore: readonly SeenWhole[], back: readonly SeenWhole[]): Leg {
  const [one, two] = [middleOf(fore), middleOf(back)];
  const differs = turn(two.azimuth - Math.PI, one.azimuth);
  const inclination = mean([one.inclination, -two.inclination]);
  const level = Math.cos(inclination);
  const terms = (at: typeof one) => ({
    azimuth: (weight: number): Term => ({ weight, values: [0], at, angle: 'azimuth' }),
    inclination: (weight: number): Term => ({ weight, values: [0], at, angle: 'inclination' }),
  });
  return {
    span,
    azimuth: one.azimuth - differs / 2,
    inclination,
    differs: differs * level,
    sum: one.inclination + two.inclination,
    fore: terms(one),
    back: terms(two),
  };
}

/** A leg of length one along each direction, and how that changes by azimuth × cos inclination and by inclination. */
const DIRECTIONS: readonly {
  name: string;
  along(leg: Leg): { whole: number; byAzimuth: number; byInclination: number };
}[] = [
  {
    name: 'north',
    along: ({ azimuth: a, inclination: b }) => ({
      whole: Math.cos(b) * Math.cos(a),
      byAzimuth: -Math.sin(a),
      byInclination: -Math.sin(b) * Math.cos(a),
    }),
  },
  {
    name: 'east',
    along: ({ azimuth: a, inclination: b }) => ({
      whole: Math.cos(b) * Math.sin(a),
      byAzimuth: Math.cos(a),
      byInclination: -Math.sin(b) * Math.sin(a),
    }),
  },
  {
    name: 'up',
    along: ({ inclination: b }) => ({
      whole: Math.sin(b),
      byAzimuth: 0,
      byInclination: Math.cos(b),
    }),
  },
];
