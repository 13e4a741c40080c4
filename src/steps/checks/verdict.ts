import type { Uncertainty } from '../../calib/covariance.ts';
import { applyCoefficients, coefficientsFrom } from '../../calib/model.ts';
import type { BoardReading } from '../../protocol/board.ts';
import type { CheckFigure, CheckRecord, EntryOf } from '../../records/entries.ts';
import { batterySwapFigures } from './battery-swap.ts';
import { beamFigures } from './beam-and-sight.ts';
import { placesOf } from './check-places.ts';
import { closedLoopFigures, type Ranging } from './closed-loop.ts';
import { seenThrough } from './estimate.ts';
import { foreAndBackFigures } from './fore-and-back.ts';
import { fourRollFigures } from './four-rolls.ts';
import { knownBearingFigures } from './known-bearings.ts';
import { rangeFigures } from './range-line.ts';
import type { CameTo, SeenWhole, Taken } from './taken.ts';

/** A check as it was begun. */
export type Begun = Pick<
  EntryOf<'check begun'>,
  'id' | 'terms' | 'tolerance' | 'generation' | 'set' | 'crc' | 'correction'
>;

/**
 * What a check came to: failed where one figure is outside what is allowed, passed where all are within, each with its
 * whole interval; else not settled.
 *
 * @param readings by their places; of a place that has none nothing is said
 * @param calibration uncertainty of the coefficients that are checked, where the logbook has the fit that gave them
 * @param ranging what is known of the board's ranges
 */
export function verdictOf(
  begun: Begun,
  readings: ReadonlyMap<string, BoardReading>,
  calibration: Uncertainty | undefined,
  ranging: Ranging = {},
): CheckRecord {
  const { id, terms, tolerance, generation, crc } = begun;
  const { figures, warnings, ...others } =
    terms.check === 'range'
      ? ofRanges(begun, terms, readings, ranging)
      : ofAngles(begun, terms, readings, calibration, ranging);
  const old = [...readings.values()].filter((reading) => reading.generation !== generation);
  const needsNoFit = terms.check === 'battery swap' || terms.check === 'range';
  return {
    check: id,
    of: terms.check,
    generation,
    crc,
    tolerance,
    verdict: overall(figures),
    figures,
    warnings: [
      ...warnings,
      ...(old.length > 0 && terms.check !== 'range'
        ? [
            `${old.length} readings were taken while the board ran another generation; from their raw counts they are judged with generation ${generation} all the same.`,
          ]
        : []),
      ...(calibration || needsNoFit ? [] : [NO_FIT]),
    ],
    ...others,
  };
}

type AngleTerms = Exclude<Begun['terms'], { check: 'range' }>;

/** By the angles that the coefficients make of the readings. */
function ofAngles(
  { tolerance, set }: Begun,
  terms: AngleTerms,
  readings: ReadonlyMap<string, BoardReading>,
  calibration: Uncertainty | undefined,
  ranging: Ranging,
): CameTo {
  const coefficients = coefficientsFrom(set.model, set.values);
  const groups = { now: new Map<string, SeenWhole[]>(), afterSwap: new Map<string, SeenWhole[]>() };
  const unseen: number[] = [];
  for (const { place, group, afterSwap } of placesOf(terms)) {
    const reading = readings.get(place);
    const into = afterSwap ? groups.afterSwap : groups.now;
    const members = into.get(group) ?? [];
    into.set(group, members);
    if (!reading) continue;
    const seen = seenThrough(coefficients, reading);
    const { g, b } = applyCoefficients(coefficients, reading.acc, reading.mag);
    const { range } = reading;
    if (seen) members.push({ ...seen, g, b, ...(range !== undefined && { range }) });
    else unseen.push(reading.reading);
  }
  const taken: Taken = {
    groups: groups.now,
    limit: tolerance.degrees,
    ...(calibration && { calibration }),
  };
  const isWhole = [...groups.now.values(), ...groups.afterSwap.values()].every(
    (each) => each.length > 0,
  );
  const { figures, warnings, ...others } = isWhole
    ? cameTo(terms, taken, groups.afterSwap, ranging)
    : { figures: [], warnings: ['Of one aim there is no reading that says anything.'] };
  return {
    figures,
    warnings: [
      ...warnings,
      ...(unseen.length > 0
        ? [`Left out, since sight or field is vertical there: ${unseen.join(', ')}.`]
        : []),
    ],
    ...others,
  };
}

/** By the ranges alone, which ask nothing of the coefficients. */
function ofRanges(
  { correction }: Begun,
  terms: Begun['terms'] & { check: 'range' },
  readings: ReadonlyMap<string, BoardReading>,
  { now }: Ranging,
): CameTo {
  if (correction?.constant !== now?.constant || correction?.scale !== now?.scale) {
    const warning =
      'What the board adds to its ranges was changed while this check was under way, so its ranges are not of one kind. Check again.';
    return { figures: [], warnings: [warning] };
  }
  const groups = new Map<string, number[]>();
  for (const { place, group } of placesOf(terms)) {
    const range = readings.get(place)?.range;
    groups.set(group, [...(groups.get(group) ?? []), ...(range === undefined ? [] : [range])]);
  }
  const empty = [...groups].filter(([, ranges]) => ranges.length === 0);
  if (empty.length === groups.size) {
    return { figures: [], warnings: ['No reading has a range: this board measures none.'] };
  }
  if (empty.length > 0) {
    const names = empty.map(([group]) => Number(group) + 1).join(', ');
    return { figures: [], warnings: [`There is no range of baseline ${names}.`] };
  }
  return rangeFigures(groups, terms, correction);
}

const NO_FIT =
  'The logbook has no fit that gave these coefficients, so their own uncertainty is not in the intervals: these come from the scatter of the readings alone.';

function overall(figures: readonly CheckFigure[]): CheckRecord['verdict'] {
  const standings = figures.flatMap(({ standing }) => standing ?? []);
  if (standings.includes('outside')) return 'failed';
  return standings.length > 0 && standings.every((each) => each === 'within')
    ? 'passed'
    : 'not settled';
}

function cameTo(terms: AngleTerms, taken: Taken, after: Taken['groups'], ranging: Ranging): CameTo {
  const only = (figures: CheckFigure[]) => ({ figures, warnings: [] });
  switch (terms.check) {
    case 'rolls':
      return only(fourRollFigures(taken));
    case 'fore and back':
      return only(foreAndBackFigures(taken, terms.heights));
    case 'known bearings':
      return knownBearingFigures(taken, terms);
    case 'battery swap': {
      const figures = batterySwapFigures({ ...taken, after });
      const warnings = [
        'The two marks lie too nearly in one line to tell: take one a quarter turn from the other.',
      ];
      return figures ? only(figures) : { figures: [], warnings };
    }
    case 'loop':
      return closedLoopFigures(taken, terms, ranging);
    case 'beam':
      return beamFigures(taken, terms);
  }
}
