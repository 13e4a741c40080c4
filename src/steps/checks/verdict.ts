import type { Uncertainty } from '../../calib/covariance.ts';
import { applyCoefficients, coefficientsFrom } from '../../calib/model.ts';
import type { BoardReading } from '../../protocol/board.ts';
import type { CheckFigure, CheckRecord, EntryOf } from '../../records/entries.ts';
import { batterySwapFigures } from './battery-swap.ts';
import { placesOf } from './check-places.ts';
import { closedLoopFigures } from './closed-loop.ts';
import { seenThrough } from './estimate.ts';
import { foreAndBackFigures } from './fore-and-back.ts';
import { fourRollFigures } from './four-rolls.ts';
import { knownBearingFigures } from './known-bearings.ts';
import type { SeenWhole, Taken } from './taken.ts';

/** A check as it was begun. */
export type Begun = Pick<
  EntryOf<'check begun'>,
  'id' | 'terms' | 'tolerance' | 'generation' | 'set' | 'crc'
>;

/**
 * What a check came to: failed where one figure is outside what is allowed, passed where all are within, each with its
 * whole interval; else not settled.
 *
 * @param readings by their places; of a place that has none nothing is said
 * @param calibration uncertainty of the coefficients that are checked, where the logbook has the fit that gave them
 */
export function verdictOf(
  { id, terms, tolerance, generation, set, crc }: Begun,
  readings: ReadonlyMap<string, BoardReading>,
  calibration: Uncertainty | undefined,
): CheckRecord {
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
    if (seen) members.push({ ...seen, g, b });
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
  const { figures, warnings } = isWhole
    ? figuresOf(terms, taken, groups.afterSwap)
    : { figures: [], warnings: ['Of one aim there is no reading that says anything.'] };
  const old = [...readings.values()].filter((reading) => reading.generation !== generation);
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
      ...(unseen.length > 0
        ? [`Left out, since sight or field is vertical there: ${unseen.join(', ')}.`]
        : []),
      ...(old.length > 0
        ? [
            `${old.length} readings were taken while the board ran another generation; from their raw counts they are judged with generation ${generation} all the same.`,
          ]
        : []),
      ...(calibration || terms.check === 'battery swap' ? [] : [NO_FIT]),
    ],
  };
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

function figuresOf(
  terms: Begun['terms'],
  taken: Taken,
  after: Taken['groups'],
): { figures: CheckFigure[]; warnings: string[] } {
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
      return only(closedLoopFigures(taken, terms));
  }
}
