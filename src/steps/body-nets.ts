import { azimuthErrorAlong, bodyCells, type Cell, type Sensed } from '../calib/body-sphere.ts';
import type { Uncertainty } from '../calib/covariance.ts';
import { interval95 } from '../calib/quantiles.ts';
import { bodyVectors, degrees, dot, plus, radians, unit } from '../calib/geometry.ts';
import { applyCoefficients, type Coefficients } from '../calib/model.ts';
import { spreadAims } from '../calib/next-reading.ts';
import type { Vec3 } from '../calib/reading.ts';
import { ORDINARY_LIMITS } from '../calib/validity.ts';
import type { ToleranceChoice } from '../records/entries.ts';
import { lineWords, rollWords } from './attitude-words.ts';
import {
  gapSlots,
  openSlots,
  type CalibrationState,
  type KeptReading,
} from './calibration-state.ts';
import { listed } from './finding.ts';
import type { LiveFit } from './live-fit.ts';
import { ORDINARY_TOLERANCE } from './tolerance.ts';

/**
 * Where down and the field have been in the board's own axes, and how uncertain azimuth is there. Degrees, and unit
 * vectors of body axes (x along the sight, y to the right, z down when held upright).
 */

export type { Cell, Sensed } from '../calib/body-sphere.ts';

/** What the nets are drawn by: the newest coefficients there are. */
export interface NetSource {
  coefficients: Coefficients;
  /** Dip, radians. */
  dip: number;
  uncertainty: Uncertainty;
  /** Whether it is the provisional fit. */
  isLive: boolean;
}

/** @param live the provisional fit, which is the newer one wherever there is one */
export function netSource(
  { fit }: Pick<CalibrationState, 'fit'>,
  live: LiveFit | undefined,
): NetSource | undefined {
  const from = live?.ok ? live : fit;
  if (!from) return undefined;
  const { coefficients, dip, uncertainty } = from;
  return { coefficients, dip, uncertainty, isLive: from === live };
}

/** A direction in the body as a net has it, degrees: clockwise from the top as the person aiming sees it, and how far ahead. */
export interface NetPlace {
  around: number;
  ahead: number;
}

export const netPlace = ([x, y, z]: Vec3): NetPlace => ({
  around: (degrees(Math.atan2(y, -z)) + 360) % 360,
  ahead: degrees(Math.asin(Math.max(-1, Math.min(1, x)))),
});

/** A reading in the nets. */
export interface BodyPoint {
  id: string;
  /** Whether it counts. */
  counts: boolean;
  /** Absent where that is not known. */
  down?: Vec3;
  field?: Vec3;
}

/**
 * Where each reading had down and the field. Before there are coefficients down follows from the planned aim, and of the
 * field nothing is known.
 */
export function bodyPoints(readings: readonly KeptReading[], source?: NetSource): BodyPoint[] {
  return readings.map((row) => {
    const { id, reading, setAside, aim } = row;
    const common = { id, counts: !setAside };
    if (source) {
      const { g, b } = applyCoefficients(source.coefficients, reading.acc, reading.mag);
      const [down, field] = [unit(g), unit(b)];
      return {
        ...common,
        ...(down.every(Number.isFinite) && { down }),
        ...(field.every(Number.isFinite) && { field }),
      };
    }
    if (aim?.inclination === undefined || aim.roll === undefined) return common;
    const { g } = bodyVectors(0, radians(aim.inclination), radians(aim.roll), 0);
    return { ...common, down: g };
  });
}

/** The cells of a net, and for each half of the 95 % interval of azimuth × cos inclination, degrees. */
export interface NetShade {
  cells: readonly Cell[];
  errors: readonly number[];
}

const CELLS = bodyCells();
const MIDDLES = CELLS.map(({ middle }) => middle);

/** The expected azimuth error over a net; takes some milliseconds. */
export function netShade({ uncertainty }: NetSource, which: Sensed): NetShade {
  const { freedom } = uncertainty;
  const factor = degrees(interval95(1, freedom.azimuth));
  const errors = azimuthErrorAlong(uncertainty, which, MIDDLES).map((error) => error * factor);
  return { cells: CELLS, errors };
}

/** The upper bounds of the levels that a net is shaded in, degrees; above the last is over the tolerance. */
export function shadeBounds({ degrees: most }: ToleranceChoice = ORDINARY_TOLERANCE): number[] {
  return [...[0.1, 0.25, 0.5].filter((bound) => bound < most), most];
}

/** The level of an error among the bounds, from 0, the least; one that is not a number is over all. */
export const levelOf = (error: number, bounds: readonly number[]): number => {
  const level = bounds.findIndex((bound) => error <= bound);
  return level < 0 ? bounds.length : level;
};

/** A legend's words for each level. */
export function levelWords(bounds: readonly number[]): string[] {
  const over = `over ±\u00a0${bounds.at(-1)}°: more than the tolerance`;
  return [...bounds.map((bound) => `to ±\u00a0${bound}°`), over];
}

/** What the shading of both nets says, in one sentence. */
export function shadeWords(down: NetShade): string {
  const { least, most } = extremes(down);
  const where = bodyWords(down.cells[most]!.middle);
  const [best, worst] = [least, most].map((i) => errorText(down.errors[i]!));
  return `Expected azimuth error (95 %): from ${best} to ${worst}, which is where down is ${where}.`;
}

function extremes({ errors }: NetShade): { least: number; most: number } {
  let [least, most] = [0, 0];
  errors.forEach((error, i) => {
    if (error < errors[least]!) least = i;
    if (!(error <= errors[most]!)) most = i;
  });
  return { least, most };
}

const errorText = (error: number): string =>
  error < 10 ? `±\u00a0${error.toFixed(2)}°` : 'more than ±\u00a010°';

/** Cosine of the angle to a face of the body beyond which a direction is not only there. */
const ASIDE = 0.38;

/** Where a direction is in the body, such as "near the top" or "between the front and the right side". */
export function bodyWords([x, y, z]: Vec3): string {
  const sides = [
    [x, 'the front', 'the back'],
    [y, 'the right side', 'the left side'],
    [z, 'the bottom', 'the top'],
  ] as const;
  const near = sides.flatMap(([value, plus, minus]) =>
    value > ASIDE ? [plus] : value < -ASIDE ? [minus] : [],
  );
  return near.length > 1 ? `between ${listed(near)}` : `near ${near[0]!}`;
}

/** Directions that no reading came near, and what to take so that one does. */
export interface NetGap {
  /** What is lacking, in words. */
  words: string;
  /** The aim that fills most of it, in words. */
  take: string;
  /** Whether the plan asks for it anyway. */
  planned: boolean;
}

/** An aim outside the plan must fill more than the plan's by so much. */
const PLAN_FIRST = 1.5;
/** More than a few at once are no help. */
const MOST_GAPS = 5;

/** An aim, and where it has down and the field; the field is not known before the first coefficients. */
interface Candidate {
  words: string;
  planned: boolean;
  down: Vec3;
  field?: Vec3;
}

/**
 * Where no reading that counts had down, or the field, within the reach of what a calibration holds for; the largest gap
 * first. What to take is of the plan where a place of it that is not filled would do nearly as well as any other aim.
 */
export function netGaps(calibration: CalibrationState, source?: NetSource): NetGap[] {
  const reach = Math.cos(ORDINARY_LIMITS.reach);
  const points = bodyPoints(calibration.readings, source).filter(({ counts }) => counts);
  const near = (v: Vec3 | undefined) =>
    v ? MIDDLES.filter((middle) => dot(v, middle) >= reach) : [];
  const lacking = (which: Sensed) => {
    const had = new Set(points.flatMap((point) => near(point[which])));
    return new Set(MIDDLES.filter((middle) => !had.has(middle)));
  };
  const left = { down: lacking('down'), field: source ? lacking('field') : new Set<Vec3>() };
  if (left.down.size + left.field.size === 0) return [];
  const candidates = candidatesFor(calibration, source).map((candidate) => ({
    ...candidate,
    reaches: { down: near(candidate.down), field: near(candidate.field) },
  }));
  const gaps: NetGap[] = [];
  while (gaps.length < MOST_GAPS) {
    let best: (typeof candidates)[number] | undefined;
    let most = 0;
    for (const candidate of candidates) {
      const { down, field } = candidate.reaches;
      const worth =
        (down.filter((v) => left.down.has(v)).length +
          field.filter((v) => left.field.has(v)).length) *
        (candidate.planned ? PLAN_FIRST : 1);
      if (worth > most) [best, most] = [candidate, worth];
    }
    if (!best) break;
    const down = best.reaches.down.filter((v) => left.down.has(v));
    const field = best.reaches.field.filter((v) => left.field.has(v));
    const parts = [
      ...(down.length > 0 ? [`down ${bodyWords(middleOf(down))}`] : []),
      ...(field.length > 0 ? [`the field ${bodyWords(middleOf(field))}`] : []),
    ];
    gaps.push({
      words: `No reading had ${parts.join(' or ')}`,
      take: best.words,
      planned: best.planned,
    });
    for (const v of down) left.down.delete(v);
    for (const v of field) left.field.delete(v);
  }
  return gaps;
}

function middleOf(directions: readonly Vec3[]): Vec3 {
  const sum = directions.reduce<Vec3>((before, v) => plus(before, v), [0, 0, 0]);
  const middle = unit(sum);
  return middle.every(Number.isFinite) ? middle : directions[0]!;
}

/** The places of the plan that are still to fill, in order, then any aim; the plan's where its azimuths are the compass's. */
function candidatesFor(calibration: CalibrationState, source?: NetSource): Candidate[] {
  const { plan } = calibration;
  const isKnown = plan.azimuths === 'absolute';
  const at = (azimuth: number, inclination: number, roll: number, planned: boolean): Candidate => {
    const { g, b } = bodyVectors(
      radians(azimuth),
      radians(inclination),
      radians(roll),
      source?.dip ?? 0,
    );
    return {
      words: `${lineWords({ azimuth, inclination })}, ${rollWords(roll)}`,
      planned,
      down: g,
      ...(source && (!planned || isKnown) && { field: b }),
    };
  };
  const { directions, rolls } = spreadAims();
  return [
    ...[...openSlots(calibration), ...gapSlots(calibration)].map(({ sighting, roll }) =>
      at(sighting.azimuth, sighting.inclination, roll, true),
    ),
    ...directions.flatMap(({ azimuth, inclination }) =>
      rolls.map((roll) => at(degrees(azimuth), degrees(inclination), degrees(roll), false)),
    ),
  ];
}

/** A reading's place in both nets, in words. */
export function pointWords({ down, field }: BodyPoint): string {
  const parts = [
    ...(down ? [`down ${bodyWords(down)}`] : []),
    ...(field ? [`the field ${bodyWords(field)}`] : []),
  ];
  return parts.length > 0 ? parts.join(', ') : 'where it had down is not known';
}
