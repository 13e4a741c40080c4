import { attitudesEverywhere, standardErrors, type AngleErrors } from '../calib/covariance.ts';
import { fit, type Fit, type FitOptions, type FitRefusal } from '../calib/fit.ts';
import { leaveSightingsOut } from '../calib/held-out.ts';
import { chooseModel, type ModelVerdict } from '../calib/model-choice.ts';
import type { Reading } from '../calib/reading.ts';
import { readingNoise } from '../calib/reading-noise.ts';
import { testResiduals } from '../calib/residual-tests.ts';
import { attitudesOutside, validityOf, type Validity } from '../calib/validity.ts';
import type { Examination, HoldsFor } from '../records/entries.ts';
import { modelInShort } from './model-words.ts';

/** A fit, and all that can be found out about it. Plain data, so that it may be made in a worker. */

/** A reading with what the examination wants beside what the fit wants. */
export type ExaminedReading = Reading & {
  /** Degrees Celsius. */
  temperature?: number;
};

export type Examined = Fit & Examination;

/** The residuals of a sighting's readings are weighed against each other: memory grows with the square of their number. */
const MOST_IN_SIGHTING = 200;
const MOST_READINGS = 20_000;

/**
 * Fits and examines the fit.
 *
 * @param readings in the order in which they were taken
 * @param options without `model` the better one is chosen by leaving sightings out
 */
export function fitAndExamine(
  readings: readonly ExaminedReading[],
  options: FitOptions,
): Examined | FitRefusal {
  const { model, ...others } = options;
  if (!model) {
    const choice = chooseModel(readings, others);
    return 'ok' in choice
      ? choice
      : {
          ...examined(choice.chosen, readings, choice.verdict, options.noise),
          ...(choice.other && { otherModel: modelInShort(choice.other) }),
        };
  }
  const forced = fit(readings, options);
  return forced.ok ? examined(forced, readings, { why: 'forced' }, options.noise) : forced;
}

export type QuickFit = Fit & { modelChoice: ModelVerdict } & Pick<
    Examination,
    'otherModel' | 'heldOut' | 'readingNoise'
  >;

/**
 * Fits by the model that predicts sightings left out better, as {@link fitAndExamine}, and finds out what is quickly
 * found: neither are the residuals tested, nor is it looked at what the fit holds for.
 */
export function fitQuickly(
  readings: readonly ExaminedReading[],
  options: Omit<FitOptions, 'model'>,
): QuickFit | FitRefusal {
  const choice = chooseModel(readings, options);
  if ('ok' in choice) return choice;
  const { chosen, other, verdict } = choice;
  const heldOut = leaveSightingsOut(chosen, readings);
  return {
    ...chosen,
    modelChoice: verdict,
    ...(heldOut && { heldOut }),
    ...(other && { otherModel: modelInShort(other) }),
    readingNoise: noiseOfReading(chosen),
  };
}

const noiseOfReading = ({ coefficients, noise, uncertainty }: Fit) =>
  readingNoise(uncertainty, {
    acc: noise.acc / coefficients.accScale,
    mag: noise.mag / coefficients.magScale,
  });

function examined(
  fit: Fit,
  readings: readonly ExaminedReading[],
  modelChoice: ModelVerdict,
  declared: FitOptions['noise'],
): Examined {
  const heldOut = leaveSightingsOut(fit, readings);
  return {
    ...fit,
    modelChoice,
    ...(heldOut && { heldOut }),
    ...(isTestable(fit) && {
      residualTests: testResiduals(fit, readings, declared ? { declared } : {}),
    }),
    ...withoutResiduals(fit, readings),
  };
}

/**
 * What can be found out of any fit, one of the offsets alone too.
 *
 * @param also directions that an earlier calibration covered, where its gains and its sight were kept
 */
export function withoutResiduals(
  fit: Fit,
  readings: readonly ExaminedReading[],
  also?: Pick<Validity, 'down' | 'field'>,
): Required<Pick<Examination, 'holdsFor' | 'readingNoise'>> {
  return { holdsFor: holdsForOf(fit, readings, also), readingNoise: noiseOfReading(fit) };
}

const isTestable = ({ readings, sightings }: Fit): boolean =>
  readings.length <= MOST_READINGS && sightings.every(({ n }) => n <= MOST_IN_SIGHTING);

function holdsForOf(
  fit: Fit,
  readings: readonly ExaminedReading[],
  also?: Pick<Validity, 'down' | 'field'>,
): HoldsFor {
  // how uncertain an angle may be is for the tolerance to say, which may change after the fit
  const anyError = { standardError: { azimuth: Infinity, inclination: Infinity } };
  const validity = validityOf(fit, readings, anyError);
  const { of, outside } = attitudesOutside(also ? covering(validity, also) : validity);
  const reasons: HoldsFor['attitudes']['reasons'] = {};
  for (const reason of outside.flatMap((attitude) => attitude.reasons)) {
    reasons[reason] = (reasons[reason] ?? 0) + 1;
  }
  const errors = attitudesEverywhere().map((attitude) =>
    standardErrors(fit.uncertainty, ...attitude),
  );
  const most = (angle: keyof AngleErrors) => Math.max(...errors.map((error) => error[angle]));
  return {
    ...(validity.temperature && { temperature: validity.temperature }),
    attitudes: { of, outside: outside.length, reasons },
    largest: { azimuth: most('azimuth'), inclination: most('inclination') },
  };
}

/** A validity that covers further directions too. */
export const covering = (
  validity: Validity,
  { down, field }: Pick<Validity, 'down' | 'field'>,
): Validity => ({
  ...validity,
  down: [...validity.down, ...down],
  field: [...validity.field, ...field],
});
