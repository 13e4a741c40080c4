import { sumCovariance, type AngleTerm } from '../../calib/covariance.ts';
import { degrees, radians, turn } from '../../calib/geometry.ts';
import { interval95, fisherTail } from '../../calib/quantiles.ts';
import type { RangeCorrection } from '../../protocol/range-settings.ts';
import type { CheckFigure, CheckTerms, FoundRange } from '../../records/entries.ts';
import {
  combined,
  mean,
  middleOf,
  scatterOf,
  standingOf,
  withinLimits,
  type Part,
} from './estimate.ts';
import { lengthFrom, ROUNDED_TO } from './range-line.ts';
import type { CameTo, SeenWhole, Taken } from './taken.ts';

/** What is known of ranges: what a range check found, and what the board adds to them while the loop is walked. */
export interface Ranging {
  found?: FoundRange;
  now?: RangeCorrection;
}

/** What a loop leaves over, in this order: radians, and metres. */
const AZIMUTH = 0;
const INCLINATION = 1;
const NORTH = 2;
const EAST = 3;
const UP = 4;
type Parts5 = readonly [number, number, number, number, number];

/**
 * A closed loop of n legs, each sighted from both ends, or fore alone.
 *
 * Misclosure of azimuth: the angles turned at the marks, fore azimuth less back azimuth, add up to whole half turns; what
 * is left over is the sum over the legs of fore less back (less half a turn), times the cosine of inclination. Iron near a
 * mark turns both azimuths that are read there alike, so it is not in it. Of inclination: the sum of all inclinations, fore
 * and back. Where legs were sighted fore alone neither can be told. Of position: the sum of the legs along north, east and
 * up, each from the mean of its two sights.
 *
 * Each is held against the tolerance as sights that are off by it, independently, would leave: times √(2n), or √ΣL². And it
 * is held against what it should be: its covariance from the coefficients' (one error for all sights, not one for each), the
 * scatter of readings and aims, how the instrument was held over the marks, and the lengths. That is its interval, too.
 *
 * A single sight's scatter is that of readings aimed anew; where each was read once, of fore against back over the legs,
 * over √2, which holds what was off over the marks, too.
 */
export function closedLoopFigures(
  taken: Taken,
  terms: CheckTerms & { check: 'loop' },
  ranging: Ranging = {},
): CameTo {
  const { groups, calibration, limit } = taken;
  const rough = terms.lengths;
  const isBoth = terms.ways !== 'fore';
  const sightsOf = (i: number) => [
    groups.get(`fore ${i + 1}`)!,
    ...(isBoth ? [groups.get(`back ${i + 1}`)!] : []),
  ];
  const measured = terms.ranged
    ? rangedLengths(
        rough.map((_, i) => sightsOf(i)),
        ranging,
      )
    : { lengths: typed(terms), warnings: [] };
  if (!measured.lengths) return { figures: [], warnings: measured.warnings };
  const spans = measured.lengths.each.map(({ length }) => length);
  const legs = spans.map((span, i) => legOf(span, sightsOf(i)));
  const readings = [...groups.values()];
  const n = readings.reduce((sum, each) => sum + each.length, 0);
  const value = sumOver(legs, ({ left }) => left);

  const noise = noiseOf(readings, legs, isBoth);
  const held = noise.isWithin ? withinLimits(terms.heldTo ?? 0) * Math.SQRT2 : 0;
  const sights = legs.flatMap(({ sights, span }) => sights.map((each) => ({ ...each, span })));
  const sources: Source[] = [
    ...(['azimuth', 'inclination'] as const).map((angle): Source => ({
      rows: sights.map((each) => times(each[angle], noise[angle].error / Math.sqrt(each.n))),
      freedom: noise[angle].freedom,
    })),
    {
      rows: sights.flatMap(({ azimuth, inclination, span }) => [
        times(azimuth, held / span),
        times(inclination, held / span),
      ]),
      freedom: Infinity,
    },
    ...measured.lengths.sources(
      legs.map(({ along }) => along),
      terms.ranged ? held : 0,
    ),
  ];
  const covariances = [
    ...sources.map(({ rows, freedom }) => ({ matrix: squares(rows), freedom })),
    ...(calibration
      ? [
          {
            matrix: sumCovariance(
              calibration,
              [0, 1, 2, 3, 4].map((k) => angleTerms(sights, k)),
            ),
            freedom: Math.min(calibration.freedom.azimuth, calibration.freedom.inclination),
          },
        ]
      : []),
  ];
  const tells = noise.azimuth.freedom > 0;

  /** The length of some of the parts together, with the interval along it, and what 95 in 100 stay below. */
  const together = (parts: readonly number[]) => {
    const size = Math.hypot(...parts.map((k) => value[k]!));
    const towards = [0, 1, 2, 3, 4].map((k) =>
      !parts.includes(k) ? 0 : size === 0 ? 1 / Math.sqrt(parts.length) : value[k]! / size,
    );
    const along = covariances.map(({ matrix, freedom }) => ({
      error: Math.sqrt(Math.max(0, quadratic(matrix, towards))),
      freedom,
    }));
    const { error, freedom } = combined(along);
    const isKnown = tells && calibration !== undefined;
    return {
      value: parts.length === 1 ? value[parts[0]!]! : size,
      half: tells ? interval95(error, freedom) : Infinity,
      ...(isKnown && {
        expected: boundOf(covariances, parts, 0.05),
        rare: boundOf(covariances, parts, 0.05 / JOINTLY.length),
      }),
    };
  };
  const reach = Math.hypot(...spans);
  const figure = (
    name: string,
    parts: readonly number[],
    unit: '°' | 'm',
    most?: number,
  ): CheckFigure => {
    const { value, half, expected } = together(parts);
    const scale = unit === '°' ? degrees(1) : 1;
    return {
      ...{ name, value: scale * value, half: scale * half, unit, n },
      ...(most !== undefined && {
        limit: most,
        standing: standingOf(scale * value, scale * half, most),
      }),
      ...(expected !== undefined && { expected: scale * expected }),
    };
  };
  const around = limit * Math.sqrt(2 * legs.length);
  const figures = [
    ...(isBoth
      ? [
          figure(
            'Misclosure of azimuth × cos inclination, all legs together',
            [AZIMUTH],
            '°',
            around,
          ),
          figure('Misclosure of inclination, all legs together', [INCLINATION], '°', around),
        ]
      : []),
    figure('Misclosure of position, horizontal', [NORTH, EAST], 'm', radians(limit) * reach),
    figure('Misclosure of position, up', [UP], 'm', radians(limit) * reach),
    figure('Misclosure of position, north', [NORTH], 'm'),
    figure('Misclosure of position, east', [EAST], 'm'),
    figure('Misclosure of position, total', [NORTH, EAST, UP], 'm'),
  ];
  const jointly = JOINTLY.filter(({ needsBoth }) => isBoth || !needsBoth).map(
    ({ name, parts }) => ({ name, ...together(parts) }),
  );
  const round = spans.reduce((a, b) => a + b);
  const total = jointly.at(-1)!.value;
  return {
    figures,
    warnings: [...measured.warnings, ...(tells ? [] : [ONE_EACH])],
    found: [
      ...closesWords(jointly),
      `The way round is ${round.toFixed(2)} m, and the total misclosure ${((100 * total) / round).toFixed(2)} % of it.`,
    ],
  };
}

const ONE_EACH =
  'Each leg was read once, and from one end: nothing tells how readings scatter, so no interval can be given.';

/** Independent errors of the size one, as what each adds to the five misclosures, and how well their size is known. */
interface Source {
  rows: readonly Parts5[];
  freedom: number;
}

interface Leg {
  span: number;
  /** What it adds to each misclosure, and what it would by one metre more. */
  left: Parts5;
  along: Parts5;
  /** Fore less back: azimuth × cos inclination, less half a turn; and the two inclinations together. */
  differs: number;
  sum: number;
  /** What an error of one in azimuth × cos inclination, or in inclination, of each sight adds to each misclosure. */
  sights: { at: SeenWhole; n: number; azimuth: Parts5; inclination: Parts5 }[];
}

/** @param sights readings fore, and back where there are such */
function legOf(span: number, [fore, back]: readonly (readonly SeenWhole[])[]): Leg {
  const one = { ...fore![0]!, ...middleOf(fore!) };
  const two = back && { ...back[0]!, ...middleOf(back) };
  const differs = two ? turn(two.azimuth - Math.PI, one.azimuth) : 0;
  const sum = two ? one.inclination + two.inclination : 0;
  const azimuth = one.azimuth - differs / 2;
  const inclination = one.inclination - sum / 2;
  const [ca, sa] = [Math.cos(azimuth), Math.sin(azimuth)];
  const [cb, sb] = [Math.cos(inclination), Math.sin(inclination)];
  const share = span / (two ? 2 : 1);
  const sight = (at: SeenWhole, n: number, way: 1 | -1) => ({
    ...{ at, n },
    azimuth: [way, 0, -sa * share, ca * share, 0] as const,
    inclination: times([0, way / share, -sb * ca, -sb * sa, cb], way * share),
  });
  return {
    span,
    left: [differs * cb, sum, span * cb * ca, span * cb * sa, span * sb],
    along: [0, 0, cb * ca, cb * sa, sb],
    ...{ differs: differs * cb, sum },
    sights: [sight(one, fore!.length, 1), ...(two ? [sight(two, back.length, -1)] : [])],
  };
}

/** Scatter of a single reading of each angle; `isWithin`: of one aim's readings, so that how it is held is not in it. */
function noiseOf(
  readings: readonly (readonly SeenWhole[])[],
  legs: readonly Leg[],
  isBoth: boolean,
): Record<'azimuth' | 'inclination', Part> & { isWithin: boolean } {
  const azimuth = scatterOf(
    readings.map((each) =>
      each.map((one) => turn(each[0]!.azimuth, one.azimuth) * Math.cos(one.inclination)),
    ),
  );
  const inclination = scatterOf(readings.map((each) => each.map((one) => one.inclination)));
  if (azimuth.freedom > 0 || !isBoth) return { azimuth, inclination, isWithin: true };
  const single = (values: readonly number[]): Part => {
    const { error, freedom } = scatterOf([values]);
    return { error: error / Math.SQRT2, freedom };
  };
  return {
    azimuth: single(legs.map(({ differs }) => differs)),
    inclination: single(legs.map(({ sum }) => sum)),
    isWithin: false,
  };
}

const angleTerms = (sights: Leg['sights'], k: number): AngleTerm[] =>
  sights.flatMap(({ at, ...by }) =>
    (['azimuth', 'inclination'] as const).map((angle) => ({
      ...{ angle, weight: by[angle][k]! },
      ...{ azimuth: at.azimuth, inclination: at.inclination, roll: at.roll },
    })),
  );

// Lengths

interface Lengths {
  each: readonly { length: number }[];
  /** @param held what a range is off by as the instrument is held beside its mark, standard deviation, metres */
  sources(along: readonly Parts5[], held: number): Source[];
}

function typed({ lengths, lengthsTo }: CheckTerms & { check: 'loop' }): Lengths {
  const error = withinLimits(lengthsTo);
  return {
    each: lengths.map((length) => ({ length })),
    sources: (along) => [{ rows: along.map((row) => times(row, error)), freedom: Infinity }],
  };
}

/** Lengths as the board's range module has them, without what a range check found it to add and multiply. */
function rangedLengths(
  legs: readonly (readonly (readonly SeenWhole[])[])[],
  { found, now }: Ranging,
): { lengths?: Lengths; warnings: string[] } {
  const ranges = legs.map((sights) =>
    sights.map((readings) => readings.flatMap(({ range }) => (range === undefined ? [] : [range]))),
  );
  if (ranges.some((sights) => sights.flat().length === 0)) {
    return { warnings: ['Of one leg there is no range, so it has no length.'] };
  }
  const scatter = scatterOf(ranges.flat());
  const each = ranges.map((sights) => {
    const range = mean(sights.flat());
    const known = found && lengthFrom(range, found, now);
    return { ...(known ?? { length: range, byConstant: 0, byScale: 0 }), known, sights };
  });
  const isKnown = each.every(({ known }) => known !== undefined);
  return {
    lengths: {
      each,
      sources: (along, held) => [
        {
          rows: along.map((row, i) =>
            times(row, scatter.error / Math.sqrt(each[i]!.sights.flat().length)),
          ),
          freedom: scatter.freedom || Infinity,
        },
        {
          rows: along.map((row, i) =>
            times(
              row,
              Math.hypot(ROUNDED_TO / Math.sqrt(12), held / Math.sqrt(each[i]!.sights.length)),
            ),
          ),
          freedom: Infinity,
        },
        ...(found && isKnown ? [commonOf(found, each, along)] : []),
      ],
    },
    warnings: isKnown
      ? []
      : [
          'Constant and scale of the range module are not known, and not in the intervals: check its ranges against taped lengths first.',
        ],
  };
}

/** What constant and scale of the module are uncertain by is one error for all legs: as two that are independent. */
function commonOf(
  { covariance: { constant, scale, both }, freedom }: FoundRange,
  each: readonly { byConstant: number; byScale: number }[],
  along: readonly Parts5[],
): Source {
  const byConstant = sumOver(along, (row, i) => times(row, each[i]!.byConstant));
  const byScale = sumOver(along, (row, i) => times(row, each[i]!.byScale));
  const first = Math.sqrt(constant);
  const mixed = first === 0 ? 0 : both / first;
  const second = Math.sqrt(Math.max(0, scale - mixed ** 2));
  return {
    rows: [plus(times(byConstant, first), times(byScale, mixed)), times(byScale, second)],
    freedom,
  };
}

// What is expected

/**
 * What the length of a vector of normal errors with this covariance exceeds by this chance: Σx² is about tr C times χ²
 * over its degrees, (tr C)²/tr C² of them (Satterthwaite 1946; Box 1954), and over an estimated variance Fisher's F.
 */
function boundOf(
  covariances: readonly { matrix: number[][]; freedom: number }[],
  parts: readonly number[],
  chance: number,
): number {
  const at = (i: number, k: number) =>
    covariances.reduce((sum, { matrix }) => sum + matrix[i]![k]!, 0);
  const trace = parts.reduce((sum, k) => sum + at(k, k), 0);
  const square = parts.reduce(
    (sum, i) => sum + parts.reduce((part, k) => part + at(i, k) ** 2, 0),
    0,
  );
  const { freedom } = combined(
    covariances.map(({ matrix, freedom }) => ({
      error: Math.sqrt(parts.reduce((sum, k) => sum + Math.max(0, matrix[k]![k]!), 0)),
      freedom,
    })),
  );
  if (trace === 0) return 0;
  const [numerator, denominator] = [trace ** 2 / square, Math.min(1e6, Math.max(1, freedom))];
  let [low, high] = [0, 1];
  while (fisherTail(high, numerator, denominator) > chance) high *= 2;
  for (let i = 0; i < 60; i++) {
    const middle = (low + high) / 2;
    if (fisherTail(middle, numerator, denominator) > chance) low = middle;
    else high = middle;
  }
  return Math.sqrt(trace * high);
}

/** What tells whether a loop closes as well as it should: three, so each has a third of the chance to say no by chance. */
const JOINTLY = [
  { name: 'azimuth', parts: [AZIMUTH], needsBoth: true },
  { name: 'inclination', parts: [INCLINATION], needsBoth: true },
  { name: 'position', parts: [NORTH, EAST, UP], needsBoth: false },
] as const;

/** Whether the loop closes as well as it should; nothing where nothing tells that. */
function closesWords(jointly: readonly { name: string; value: number; rare?: number }[]): string[] {
  if (jointly.some(({ rare }) => rare === undefined)) return [];
  const beyond = jointly.filter(({ value, rare }) => Math.abs(value) > rare!);
  return [
    beyond.length === 0
      ? 'It closes as well as its calibration, aims and lengths let expect.'
      : `It closes worse than its calibration, aims and lengths let expect, in ${beyond.map(({ name }) => name).join(' and ')}: of 20 loops that are in order one would. Look for a blunder, iron at a mark, or what has changed since the calibration.`,
  ];
}

// Rows of five

const times = (row: Parts5, k: number): Parts5 => [
  row[0] * k,
  row[1] * k,
  row[2] * k,
  row[3] * k,
  row[4] * k,
];

const plus = (a: Parts5, b: Parts5): Parts5 => [
  a[0] + b[0],
  a[1] + b[1],
  a[2] + b[2],
  a[3] + b[3],
  a[4] + b[4],
];

const sumOver = <T>(all: readonly T[], of: (each: T, i: number) => Parts5): Parts5 =>
  all.map(of).reduce<Parts5>(plus, [0, 0, 0, 0, 0]);

/** Σ r rᵀ. */
const squares = (rows: readonly Parts5[]): number[][] =>
  [0, 1, 2, 3, 4].map((i) =>
    [0, 1, 2, 3, 4].map((k) => rows.reduce((sum, row) => sum + row[i]! * row[k]!, 0)),
  );

const quadratic = (matrix: readonly (readonly number[])[], v: readonly number[]): number =>
  v.reduce((sum, a, i) => sum + v.reduce((part, b, k) => part + a * matrix[i]![k]! * b, 0), 0);
