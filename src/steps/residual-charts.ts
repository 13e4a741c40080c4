import { degrees } from '../calib/geometry.ts';
import type { FittedReading } from '../calib/fit.ts';
import type { Vec3 } from '../calib/reading.ts';
import type { FitRecord, PlannedSighting } from '../records/entries.ts';
import { lineWords } from './attitude-words.ts';
import type { ChartData, ChartPoint } from './chart-data.ts';
import { degreesText, listed } from './finding.ts';
import { TOLERANCE } from './tolerance.ts';

/** What a fit leaves of its readings, as charts: in the order of taking, by attitude, sighting by sighting. */

/** As much of a fit as its charts are of. */
export type Charted = Pick<FitRecord, 'coefficients' | 'noise' | 'readings' | 'sightings'> &
  Partial<Pick<FitRecord, 'meanSpread' | 'heldOut'>>;

export type ResidualKind = 'gravity' | 'field' | 'aim' | 'misfit';
export type Along = 'order' | 'azimuth' | 'inclination' | 'roll';

/** What there is to choose from, in the words of the choice. */
export const RESIDUAL_KINDS: readonly { kind: ResidualKind; words: string }[] = [
  { kind: 'gravity', words: 'gravity, thousandths of g' },
  { kind: 'field', words: 'field, % of its length' },
  { kind: 'aim', words: 'aim, degrees' },
  { kind: 'misfit', words: 'misfit, all of these in one' },
];

export const ATTITUDE_ANGLES: readonly Exclude<Along, 'order'>[] = [
  'azimuth',
  'inclination',
  'roll',
];

interface Quantity {
  title: string;
  y: string;
  unit: string;
  digits: number;
  series: readonly { name: string; of(reading: FittedReading): number | undefined }[];
  /** What a single figure is beyond once in about twenty; absent where nobody knows. */
  limit: number | undefined;
  /** Both ways from zero. */
  signed: boolean;
  /** What the level lines mean. */
  limitWords: string;
  /** What is normal, as a sentence. */
  normal: string;
}

/** Twice the noise of a reading. */
const BEYOND = 2;

function quantityOf(kind: ResidualKind, { coefficients, noise }: Charted): Quantity {
  switch (kind) {
    case 'gravity':
    case 'field': {
      const isGravity = kind === 'gravity';
      const factor = isGravity ? 1000 / coefficients.accScale : 100 / coefficients.magScale;
      const limit = BEYOND * factor * (isGravity ? noise.acc : noise.mag);
      const unit = isGravity ? 'thousandths of g' : '% of the field';
      const of = (reading: FittedReading): Vec3 | undefined =>
        isGravity ? reading.accResidual : reading.magResidual;
      return {
        title: isGravity ? 'Residuals of gravity' : 'Residuals of the field',
        y: unit,
        unit: isGravity ? '' : ' %',
        digits: isGravity ? 2 : 3,
        series: (['x', 'y', 'z'] as const).map((axis, i) => ({
          name: `chip ${axis}`,
          of: (reading) => {
            const residual = of(reading)?.[i];
            return residual === undefined ? undefined : residual * factor;
          },
        })),
        limit,
        signed: true,
        limitWords: `twice the noise found, ±${limit.toFixed(isGravity ? 1 : 2)} ${unit}`,
        normal:
          'At most about one in twenty is normally beyond the lines, with no pattern: the fit itself takes some of the noise, so fewer.',
      };
    }
    case 'aim': {
      // a direction has two errors: 95 % lie within √(−2 ln 0.05) of one of them
      const limit = noise.aim === undefined ? undefined : degrees(noise.aim) * 2.45;
      return {
        title: 'Off the mean of the sighting',
        y: 'degrees',
        unit: '°',
        digits: 3,
        series: [{ name: 'angle', of: ({ aimError }) => aimError && degrees(aimError) }],
        limit,
        signed: false,
        limitWords:
          limit === undefined ? '' : `2.4 times the aiming error found, ${degreesText(limit)}`,
        normal:
          'Most angles are normally below the line: it is the aim alone, and the noise of the chips comes on top.',
      };
    }
    case 'misfit':
      return {
        title: 'Misfit',
        y: 'misfit (no unit)',
        unit: '',
        digits: 2,
        series: [{ name: 'misfit', of: ({ misfit }) => misfit }],
        limit: TOLERANCE.misfit,
        signed: false,
        limitWords: `${TOLERANCE.misfit}, the most that is normal`,
        normal: `About one is normal, over ${TOLERANCE.misfit} is not.`,
      };
  }
}

const ALONG: Record<
  Along,
  { name: string; words: string; span?: readonly [number, number]; column?: string }
> = {
  order: { name: 'reading, in the order of taking', words: 'in the order of taking' },
  azimuth: { name: 'azimuth, degrees', words: 'by azimuth', span: [0, 360], column: 'Azimuth' },
  inclination: {
    name: 'inclination, degrees',
    words: 'by inclination',
    span: [-90, 90],
    column: 'Inclination',
  },
  roll: { name: 'roll, degrees', words: 'by roll', span: [0, 360], column: 'Roll' },
};

/** Residuals of the readings that the fit saw. */
export function residualChart(fit: Charted, kind: ResidualKind, along: Along): ChartData {
  const quantity = quantityOf(kind, fit);
  const { name, words, span, column } = ALONG[along];
  const seen = fit.readings
    .map((reading, i) => ({ reading, at: placeOf(reading, along, i) }))
    .filter(({ reading }) => reading.used);
  const series = quantity.series.map(({ name, of }) => ({
    name,
    points: seen.flatMap(({ reading, at }): ChartPoint[] => {
      const y = of(reading);
      return y === undefined || at === undefined
        ? []
        : [{ x: at, y, name: `reading ${reading.id}` }];
    }),
  }));
  const { limit, signed, digits } = quantity;
  const figure = (value: number | undefined) =>
    value === undefined ? '–' : signedText(value, digits, signed);
  return {
    title: `${quantity.title}, ${words}`,
    kind: 'points',
    x: { name, ...(span && { span }) },
    y: { name: quantity.y, ...(!signed && { least: 0 }) },
    series,
    ...(limit !== undefined && {
      limits: { at: signed ? [-limit, limit] : [limit], words: quantity.limitWords },
    }),
    words: `${inWords(quantity, series)} ${quantity.normal}`,
    table: {
      columns: [
        'Reading',
        ...(column === undefined ? [] : [`${column}, °`]),
        ...quantity.series.map(({ name }) => `${name}, ${quantity.y}`),
      ],
      rows: seen.map(({ reading, at }) => [
        reading.id,
        ...(column === undefined ? [] : [at === undefined ? '–' : at.toFixed(1)]),
        ...quantity.series.map(({ of }) => figure(of(reading))),
      ]),
    },
  };
}

function placeOf(reading: FittedReading, along: Along, index: number): number | undefined {
  if (along === 'order') return index + 1;
  const angle = reading[along];
  return angle === undefined ? undefined : degrees(angle);
}

function inWords(
  { limit, digits, unit, y }: Quantity,
  series: readonly { points: readonly ChartPoint[] }[],
): string {
  const points = series.flatMap((each) => each.points);
  if (points.length === 0) return 'There is nothing to show.';
  const worst = points.reduce((a, b) => (Math.abs(b.y) > Math.abs(a.y) ? b : a));
  const beyond =
    limit === undefined
      ? ''
      : `, ${points.filter((point) => Math.abs(point.y) > limit).length || 'none'} of them beyond the lines`;
  return `${points.length} figures${beyond}; the largest is ${Math.abs(worst.y).toFixed(digits)}${unit || (y === 'misfit (no unit)' ? '' : ` ${y}`)}, of ${worst.name}.`;
}

const signedText = (value: number, digits: number, signed: boolean): string => {
  const text = Math.abs(value).toFixed(digits);
  if (!signed || Number(text) === 0) return text;
  return `${value < 0 ? '−' : '+'}${text}`;
};

/**
 * Spread of each sighting over the readings the fit saw, and how many it left out.
 *
 * @param planned sightings of the plan, for their lines in words
 */
export function spreadChart(fit: Charted, planned: readonly PlannedSighting[]): ChartData {
  const lines = new Map(planned.map((sighting) => [sighting.sighting, lineWords(sighting)]));
  const given = new Map<string, number>();
  for (const { sighting } of fit.readings) {
    if (sighting !== undefined) given.set(sighting, (given.get(sighting) ?? 0) + 1);
  }
  const rows = fit.sightings;
  const known = rows.filter(({ spread }) => spread !== undefined);
  const over = known.filter(({ spread }) => degrees(spread!) > TOLERANCE.spread);
  const worst = known.reduce<(typeof known)[number] | undefined>(
    (a, b) => (a && a.spread! >= b.spread! ? a : b),
    undefined,
  );
  return {
    title: 'Spread of each sighting',
    kind: 'bars',
    x: { name: 'sighting, in the order of taking', ticks: rows.map(({ sighting }) => sighting) },
    y: { name: 'degrees', least: 0 },
    series: [
      {
        name: 'spread',
        points: rows.flatMap(({ sighting, spread, n }, x) =>
          spread === undefined
            ? []
            : [{ x, y: degrees(spread), name: `sighting ${sighting}, ${n} readings` }],
        ),
      },
    ],
    limits: {
      at: [TOLERANCE.spread],
      words: `${degreesText(TOLERANCE.spread, 1)}, the mean that common practice accepts (no published source)`,
    },
    words: worst
      ? `${known.length} sightings, ${overWords(over.map(({ sighting }) => sighting))} over ${degreesText(TOLERANCE.spread, 1)}; the widest is sighting ${worst.sighting}, ${degreesText(degrees(worst.spread!))} over ${worst.n} readings. The fit saw them all, so it flatters itself a little${heldOutWords(fit)}.`
      : 'No sighting has two readings yet, so nothing says how well they agree.',
    table: {
      columns: ['Sighting', 'Line', 'n', 'Spread', 'The fit saw'],
      rows: rows.map(({ sighting, n, spread }) => [
        sighting,
        lines.get(sighting) ?? '–',
        String(n),
        spread === undefined ? 'none: it takes two' : degreesText(degrees(spread), 3),
        seenWords(n, given.get(sighting) ?? n),
      ]),
    },
  };
}

const overWords = (names: readonly string[]): string =>
  names.length === 0
    ? 'none'
    : `${names.length} of them (${names.length === 1 ? 'sighting' : 'sightings'} ${listed(names)})`;

const heldOutWords = ({ heldOut }: Charted): string =>
  heldOut?.meanSpread === undefined
    ? ''
    : `; each judged by a fit that had not seen it, the mean is ${degreesText(degrees(heldOut.meanSpread))}`;

const seenWords = (n: number, of: number): string =>
  n === of ? 'all of them' : `${n} of ${of}; ${of - n} left out`;
