import { describe, expect, test } from 'vitest';
import { DECLARED, simulateCalibration } from '../../bench/simulated-calibration.ts';
import { standardErrors } from '../../src/calib/covariance.ts';
import { interval95 } from '../../src/calib/quantiles.ts';
import { degrees, radians } from '../../src/calib/geometry.ts';
import { EMPTY_HISTORY, type CalibrationState } from '../../src/steps/calibration-state.ts';
import {
  chipFigures,
  inShort,
  modelsSideBySide,
  shownFit,
  uncertaintyAt,
  uncertaintyOverall,
  type ShownFit,
} from '../../src/steps/fit-figures.ts';
import { runLiveFit } from '../../src/steps/fitting.ts';
import type { LiveCoefficients } from '../../src/steps/live-fit.ts';

function liveOf(change: Parameters<typeof simulateCalibration>[0] = {}): LiveCoefficients {
  const { readings } = simulateCalibration({ seed: 41, ...change });
  const outcome = runLiveFit({ readings, options: DECLARED });
  if (!outcome.ok) throw new Error(outcome.message);
  return { ...outcome, readings: readings.length, fitted: outcome.readings };
}

const ordinary = liveOf();

/** A calibration with the recorded fit given. */
function historyWith(live: LiveCoefficients, stale: boolean) {
  const { fitted, ...rest } = live;
  const fit = { ...rest, readings: fitted, id: 'fit 1', stale, screened: true };
  return { ...EMPTY_HISTORY, calibration: { fit } as unknown as CalibrationState };
}

function shownOf(live: LiveCoefficients): ShownFit {
  const shown = shownFit(EMPTY_HISTORY, live);
  if (!shown || 'ok' in shown) throw new Error('nothing is shown');
  return shown;
}

const shown = shownOf(ordinary);

describe('which fit is shown', () => {
  test('the provisional one while there is no other, with how many readings it saw', () => {
    expect(shown).toMatchObject({ provisional: true, readings: 56 });
    expect(shown.fit.readings).toHaveLength(56);
  });

  test('the recorded one as long as it is of the readings that count', () => {
    expect(shownFit(historyWith(ordinary, false), ordinary)).toMatchObject({ provisional: false });
  });

  test('the provisional one again once the readings have changed, or why there is none', () => {
    expect(shownFit(historyWith(ordinary, true), ordinary)).toMatchObject({ provisional: true });
    const refusal = { ok: false, readings: 3, cause: 'too_few', message: '', next: '' } as const;
    expect(shownFit(historyWith(ordinary, true), refusal)).toBe(refusal);
  });

  test('a recorded fit of changed readings still, where no provisional one is made', () => {
    expect(shownFit(historyWith(ordinary, true), undefined)).toMatchObject({ provisional: false });
  });
});

test('in short: every figure has its unit, and spread says over how many readings', () => {
  const facts = inShort(shown.fit);
  const half = degrees(
    interval95(shown.fit.uncertainty.azimuth, shown.fit.uncertainty.freedom.azimuth),
  );
  expect(facts[0]!.figure).toBe(`±\u00a0${half.toFixed(2)}°`);
  expect(facts.find(({ name }) => name.startsWith('Mean spread'))!.name).toContain('56 readings');
});

describe('the chips in words', () => {
  test('an ordinary board has nothing beyond what is normal', () => {
    const { chips, seats } = chipFigures(shown.fit)!;
    const cells = [...chips, ...seats].flatMap(({ figures }) => figures);
    expect(cells.every(({ figure }) => /^[+−]?\d+\.\d\d ±\u00a0\d+\.\d\d( %|°)$/.test(figure))).toBe(true); // prettier-ignore
    expect(cells.filter(({ standing }) => standing !== 'good')).toEqual([]);
    expect([...chips, ...seats].every(({ normal }) => normal.startsWith('within ±'))).toBe(true);
  });

  test('a zero that is far off is marked', () => {
    const theta = [...shown.fit.uncertainty.theta];
    theta[3] = 0.4;
    const fit = { ...shown.fit, uncertainty: { ...shown.fit.uncertainty, theta } };
    const zero = chipFigures(fit)!.chips.find(({ name }) => name.includes('Accelerometer zero'))!;
    expect(zero.figures[0]).toMatchObject({ standing: 'watch' });
    expect(zero.figures[0]!.figure).toMatch(/^\+40\.00 /);
    expect(zero.figures[1]!.standing).toBe('good');
  });

  test('curvature is told of a bowed model alone', () => {
    const of = ({ fit }: ShownFit) =>
      chipFigures(fit)!
        .chips.map(({ name }) => name)
        .join();
    expect(of(shown)).not.toContain('curvature');
    expect(of(shownOf(liveOf({ curvature: 0.02 })))).toContain('curvature');
  });
});

describe('both models side by side', () => {
  test.each([
    [0, 'straight'],
    [0.02, 'bowed'],
  ] as const)(
    'with curvature %f the figures of each stand in its own column',
    (curvature, model) => {
      const live = liveOf({ curvature });
      expect(live.coefficients.model).toBe(model);
      const { decided, rows } = modelsSideBySide(shownOf(live))!;
      expect(decided).toMatch(new RegExp(`^Taken: ${model}\\. [A-Z].*\\.$`));
      const noise = rows.find(({ name }) => name.startsWith('Noise'))!;
      const own = live.noise.acc / live.coefficients.accScale;
      const [taken, other] = [own, live.otherModel!.accNoise].map(
        (noise) => `${(100 * noise).toFixed(2)} %`,
      );
      if (curvature > 0) expect(taken).not.toBe(other); // what straight cannot follow counts as noise
      expect([noise.straight, noise.bowed]).toEqual(
        model === 'straight' ? [taken, other] : [other, taken],
      );
      const missed = rows.find(({ name }) => name.startsWith('Missed'))!;
      expect(Number(missed.straight)).toBeCloseTo(live.modelChoice!.missed!.straight, 0);
      expect(Number(missed.bowed)).toBeCloseTo(live.modelChoice!.missed!.bowed, 0);
    },
  );

  test('what an entry of before does not know of the other model is said to be so', () => {
    const { otherModel: _, ...fit } = shown.fit;
    const { rows } = modelsSideBySide({ ...shown, fit })!;
    expect(rows.find(({ name }) => name.startsWith('Inclination'))).toMatchObject({
      bowed: 'not known',
    });
  });
});

describe('uncertainty in an attitude', () => {
  test('azimuth is given as itself: on a steep line it is less certain than times cos inclination', () => {
    const { uncertainty } = shown.fit;
    const errors = standardErrors(uncertainty, 0, radians(60), 0);
    const { azimuth, inclination } = uncertaintyAt(shown.fit, {
      azimuth: 0,
      inclination: 60,
      roll: 0,
    });
    const standardError = errors.azimuth / Math.cos(radians(60));
    expect(azimuth).toBe(
      `${degrees(standardError).toFixed(3)}°, 95 % ±\u00a0${degrees(interval95(standardError, uncertainty.freedom.azimuth)).toFixed(3)}°`,
    );
    expect(inclination).toContain(`${degrees(errors.inclination).toFixed(3)}°`);
  });

  test('straight up there is no azimuth, and never a number that means nothing', () => {
    const { azimuth, inclination } = uncertaintyAt(shown.fit, {
      azimuth: 0,
      inclination: 90,
      roll: 0,
    });
    expect(azimuth).toMatch(/no azimuth/);
    expect(inclination).not.toMatch(/NaN|Infinity/);
  });

  test('the worst is no better than the typical, and says where it is', () => {
    const [typical, worst] = uncertaintyOverall(shown.fit);
    for (const angle of ['azimuth', 'inclination'] as const) {
      expect(parseFloat(worst![angle])).toBeGreaterThanOrEqual(parseFloat(typical![angle]));
      expect(worst![angle]).toMatch(/near azimuth \d+°, inclination −?\d+°, roll \d+°$/);
    }
  });
});
