import { interval95 } from '../../calib/quantiles.ts';
import { degrees } from '../../calib/geometry.ts';
import type { CheckTerms, Landings } from '../../records/entries.ts';
import {
  combined,
  estimate,
  figureOf,
  mean,
  middleOf,
  scatterOf,
  withinLimits,
  type Part,
} from './estimate.ts';
import type { CameTo, Taken } from './taken.ts';

/** A quantity to the right of the instrument as it is held upright, and one upward. */
interface Beside {
  right: Found;
  up: Found;
  /** Standard deviation of a value about what turns with the instrument and what stays. */
  scatter: number;
}

interface Found extends Part {
  value: number;
}

/** Cosine and sine of the four rolls, in the order in which they are taken. */
const ROLLS = [
  { roll: '0', cos: 1, sin: 0 },
  { roll: '90', cos: 0, sin: 1 },
  { roll: '180', cos: -1, sin: 0 },
  { roll: '270', cos: 0, sin: -1 },
] as const;

/**
 * The pointer beam against the sight.
 *
 * Where the beam lands beside a sighted mark turns with the instrument: at roll ρ (clockwise as seen by the one who aims) what
 * is right r and up u in the instrument lands right by r cos ρ + u sin ρ and up by u cos ρ − r sin ρ. Over four rolls a
 * quarter turn apart r and u are means of four, each with the variance σ²/4, and what does not turn (the paper's mark beside
 * the sighted one, an aim that is off alike) falls out; it takes two of the eight values, r and u two, and four are left
 * for σ. With r = o + δ d at two distances: the angle δ = (r₂ − r₁)/(d₂ − d₁), and o = r₁ − δ d₁ at the instrument.
 *
 * Which of the two was calibrated shows in the inclinations of four rolls on one mark: an axis that stands right by s_r
 * and up by s_u of the one that the coefficients know reads I + s_r sin ρ − s_u cos ρ, I the true inclination, for small
 * angles. Iron does not touch inclinations. With the beam on the mark in place of the sight the same holds of the line from
 * the instrument to the beam's mark, which at the distance d stands δ + o/d beside the sight.
 */
export function beamFigures(
  { groups, calibration, limit }: Taken,
  { near, far, readTo }: CheckTerms & { check: 'beam' },
): CameTo {
  const [one, two] = [besideMark(near, readTo), besideMark(far, readTo)];
  const apart = far.distance - near.distance;
  const sides = ['right', 'up'] as const;
  // millimetres over metres are milliradians
  const angle = (side: 'right' | 'up') => difference(two[side], 1 / apart, one[side], 1 / apart);
  const offset = (side: 'right' | 'up') =>
    difference(one[side], far.distance / apart, two[side], near.distance / apart);
  const atFar = (side: 'right' | 'up') => scaled(two[side], 1 / far.distance);
  const inDegrees = ({ value, error, freedom }: Found) => ({
    value: degrees(value / 1000),
    half: degrees(interval95(error, freedom) / 1000),
    n: LANDINGS,
  });
  const axes = {
    sight: fromCalibrated('sight', groups, calibration),
    beam: fromCalibrated('beam', groups, calibration),
  };
  const n = [...groups.values()].reduce((sum, { length }) => sum + length, 0) / 2;
  const disagree = sides.filter((side) => {
    const [sight, beam, taped] = [axes.sight[side], axes.beam[side], inDegrees(atFar(side))];
    const seen = beam.value - sight.value;
    return Math.abs(seen - taped.value) > Math.hypot(sight.half, beam.half, taped.half);
  });
  return {
    figures: [
      ...sides.map((side) =>
        figureOf(
          `Beam from sight on a mark at ${far.distance} m, ${SIDES[side]}`,
          inDegrees(atFar(side)),
          '°',
          limit,
        ),
      ),
      ...sides.map((side) =>
        figureOf(`Beam from sight far away, ${SIDES[side]}`, inDegrees(angle(side)), '°', limit),
      ),
      ...sides.map((side) => {
        const { value, error, freedom } = offset(side);
        const name = `Beam from sight at the instrument, ${SIDES[side]}`;
        return { name, value, half: interval95(error, freedom), unit: 'mm' as const, n: LANDINGS };
      }),
      ...(['sight', 'beam'] as const).flatMap((held) =>
        sides.map((side) => ({
          name: `${held === 'sight' ? 'Sight' : 'Beam'} from the calibrated axis, ${SIDES[side]}`,
          ...{ ...axes[held][side], unit: '°' as const, n },
        })),
      ),
    ],
    warnings: [
      ...[
        { which: 'nearer', scatter: one.scatter, distance: near.distance },
        { which: 'farther', scatter: two.scatter, distance: far.distance },
      ].flatMap(({ which, scatter, distance }) =>
        scatter > 1000 * distance * NO_HAND + 2 * readTo
          ? [
              `Where the beam landed at the ${which} mark does not turn as the instrument was turned: a right typed for a left, or two rolls mixed up. The intervals are as wide as that.`,
            ]
          : [],
      ),
      ...(disagree.length > 0
        ? [
            `Where the beam landed and what the readings show differ by more than chance explains (${disagree.map((side) => SIDES[side]).join(', and ')}): look at the signs and the rolls that were typed, and whether it was the same mark.`,
          ]
        : []),
    ],
    found: [
      WHICH[calibratedOf(axes)],
      alongTheOther(calibratedOf(axes), far, inDegrees(atFar('right')), inDegrees(atFar('up'))),
    ],
  };
}

/** Values that were measured at a mark: two in each of four rolls. */
const LANDINGS = 8;

/** Scatter of landings beyond that of any hand, of the distance: twice the aim of an ordinary one, 0.1°. */
const NO_HAND = Math.tan((0.2 * Math.PI) / 180);

const SIDES = { right: 'to the right', up: 'upward' } as const;

/** Where the beam lands from a mark in the instrument's own axes: millimetres. */
function besideMark({ landed }: Landings, readTo: number): Beside {
  const right = mean(ROLLS.map(({ cos, sin }, i) => landed[i]!.right * cos - landed[i]!.up * sin));
  const up = mean(ROLLS.map(({ cos, sin }, i) => landed[i]!.right * sin + landed[i]!.up * cos));
  const still = {
    right: mean(landed.map((each) => each.right)),
    up: mean(landed.map((each) => each.up)),
  };
  const squares = ROLLS.reduce((sum, { cos, sin }, i) => {
    const { right: x, up: y } = landed[i]!;
    return (
      sum +
      (x - still.right - right * cos - up * sin) ** 2 +
      (y - still.up - up * cos + right * sin) ** 2
    );
  }, 0);
  const freedom = 4;
  const scatter = Math.sqrt(squares / freedom);
  const part = combined([
    { error: scatter / 2, freedom },
    { error: withinLimits(readTo) / 2, freedom: Infinity },
  ]);
  return { right: { value: right, ...part }, up: { value: up, ...part }, scatter };
}

const scaled = ({ value, error, freedom }: Found, by: number): Found => ({
  value: value * by,
  error: error * Math.abs(by),
  freedom,
});

/** a·k − b·m, of two that are independent. */
function difference(a: Found, k: number, b: Found, m: number): Found {
  const [one, two] = [scaled(a, k), scaled(b, m)];
  return { value: one.value - two.value, ...combined([one, two]) };
}

interface Angle {
  value: number;
  half: number;
}
type Axes = Record<'sight' | 'beam', Record<'right' | 'up', Angle>>;

/** How far what was held on the mark stands from the axis that the coefficients know, degrees. */
function fromCalibrated(
  held: 'sight' | 'beam',
  groups: Taken['groups'],
  calibration: Taken['calibration'],
): Record<'right' | 'up', Angle> {
  const scatter = scatterOf(
    [...groups.values()].map((each) => each.map(({ inclination }) => inclination)),
  );
  const along = (weights: readonly number[]): Angle => {
    const terms = ROLLS.flatMap(({ roll }, i) => {
      const readings = groups.get(`${held} ${roll}`)!;
      const values = readings.map(({ inclination }) => inclination);
      const term = { weight: weights[i]!, values, at: middleOf(readings) };
      return term.weight === 0 ? [] : [{ ...term, angle: 'inclination' as const }];
    });
    const { value, half } = estimate(terms, scatter, calibration);
    return { value: degrees(value), half: degrees(half) };
  };
  return {
    right: along(ROLLS.map(({ sin }) => sin / 2)),
    up: along(ROLLS.map(({ cos }) => -cos / 2)),
  };
}

type Calibrated = 'sight' | 'beam' | 'either' | 'neither';

/** Which of the two the coefficients may be of, as far as intervals tell. */
function calibratedOf(axes: Axes): Calibrated {
  const [sight, beam] = [axes.sight, axes.beam].map(({ right, up }) =>
    [right, up].every(({ value, half }) => Math.abs(value) <= half),
  );
  if (sight) return beam ? 'either' : 'sight';
  return beam ? 'beam' : 'neither';
}

const WHICH: Readonly<Record<Calibrated, string>> = {
  sight:
    'The sight was calibrated: it stands on the axis that the coefficients know, the beam does not.',
  beam: 'The beam was calibrated: it stands on the axis that the coefficients know, the sight does not.',
  either:
    'Sight and beam both stand on the axis that the coefficients know, as closely as these readings tell: they cannot say which was calibrated.',
  neither:
    'Neither sight nor beam stands on the axis that the coefficients know: one of them has moved since the calibration, or the accelerometer has. Calibrate again along the one that you will use.',
};

/** What azimuth and inclination are off by, upright, along that of the two which was not calibrated. Degrees. */
function alongTheOther(
  calibrated: Calibrated,
  { distance }: Landings,
  right: Angle,
  up: Angle,
): string {
  // where the beam is right of the sight, the sight stands left of the mark that the beam is on
  const aimed = calibrated === 'beam' ? 'sight' : 'beam';
  const known = aimed === 'beam' ? 'sight' : 'beam';
  const off = ({ value, half }: Angle) => {
    const margin = half < 0.005 ? 'less than 0.01°' : `${half.toFixed(2)}°`;
    const size = `${Math.abs(value).toFixed(2)}° ± ${margin}`;
    return `${size} too ${value > 0 === (aimed === 'beam') ? 'small' : 'great'}`;
  };
  return `Calibrated along the ${known} and aimed with the ${aimed}, upright, at a mark ${distance} m away, it reads azimuth × cos inclination ${off(right)}, and inclination ${off(up)}. In other rolls these two take each other’s place; nearer marks show more of what lies between the two at the instrument.`;
}
