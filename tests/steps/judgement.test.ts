import { describe, expect, it } from 'vitest';
import { simulateCalibration } from '../../bench/simulated-calibration.ts';
import { RAW_SCALES } from '../../firmware-sim/raw-readings.ts';
import type { FitOptions } from '../../src/calib/fit.ts';
import type { Reading, Vec3 } from '../../src/calib/reading.ts';
import type { ToleranceChoice } from '../../src/records/entries.ts';
import { fitAndExamine, type Examined, type ExaminedReading } from '../../src/steps/examination.ts';
import { judge, type Judged, type Judgement } from '../../src/steps/judgement.ts';

const DECLARED = { accNoise: 16.4, magNoise: 6.8 };

function examined(readings: readonly ExaminedReading[], options: FitOptions = {}): Examined {
  const result = fitAndExamine(readings, {
    scales: RAW_SCALES,
    noise: { acc: DECLARED.accNoise, mag: DECLARED.magNoise },
    ...options,
  });
  if (!result.ok) throw new Error(result.message);
  return result;
}

const judged = (readings: readonly ExaminedReading[], options?: FitOptions) =>
  judge(examined(readings, options), DECLARED);

const finding = ({ findings }: Judgement, name: string) =>
  findings.find((each) => each.name === name)!;

const { readings: ordinary } = simulateCalibration({ seed: 21 });

const shifted = (reading: Reading, chip: 'acc' | 'mag', by: Vec3): Reading => ({
  ...reading,
  [chip]: reading[chip].map((count, axis) => count + by[axis]!),
});

describe('the likely cause is named', () => {
  const cause = (readings: readonly ExaminedReading[], options?: FitOptions) => {
    const { advice, standing } = judged(readings, options);
    expect(standing).not.toBe('good');
    return advice[0]!;
  };

  it('nothing, where nothing is wrong', () => {
    expect(judged(ordinary)).toMatchObject({ standing: 'good', advice: [], notKnown: [] });
  });

  it('curvature, where a straight model is forced on a curved chip', () => {
    const { readings } = simulateCalibration({ seed: 22, curvature: 0.02 });
    expect(cause(readings, { model: 'straight' }).cause).toMatch(
      /curved, fitted by a straight model/,
    );
    expect(cause(readings, { model: 'straight' }).then).toMatch(/ask for bowed/);
    expect(judged(readings).standing).toBe('good'); // left to choose, it takes the bowed one
  });

  it('iron or a disturbed site, where the field differs from line to line', () => {
    const beside = ordinary.map((reading) => {
      const angle = Number(reading.sighting) * 2.4;
      const push = 0.04 * RAW_SCALES.mag;
      return shifted(reading, 'mag', [push * Math.cos(angle), push * Math.sin(angle), 0]);
    });
    expect(cause(beside, { screening: false }).cause).toMatch(/iron near the sensor/);
  });

  it('noise over what the board declares', () => {
    const { readings } = simulateCalibration({ seed: 23, accNoise: 5, magNoise: 1 });
    expect(cause(readings).cause).toMatch(/noise well over what the board declares/);
    const knowing = judge(examined(readings), { accNoise: 82, magNoise: 34 });
    expect(knowing.advice[0]!.cause).toBe('the noise of the sensors');
  });

  it('the aim', () => {
    const { readings } = simulateCalibration({ seed: 24, aim: 1 });
    expect(cause(readings).cause).toMatch(/^the aim, which scattered by 1\.\d+°|0\.9\d°/);
  });

  it('a change from the first reading to the last', () => {
    const drifting = ordinary.map((reading, i) =>
      shifted(reading, 'mag', [(0.03 * RAW_SCALES.mag * i) / 55, 0, 0]),
    );
    expect(cause(drifting).cause).toMatch(/between the first reading and the last/);
  });

  it('temperature, where it explains more than order does', () => {
    const warmed = ordinary.map((reading, i) => {
      const temperature = 15 + 10 * Math.sin(i / 3);
      const drift = 0.001 * (temperature - 15) * RAW_SCALES.mag;
      return { ...shifted(reading, 'mag', [drift, -drift, 0]), temperature };
    });
    const { advice, findings } = judged(warmed);
    expect(advice[0]!.cause).toMatch(/drift with temperature/);
    expect(findings.find(({ name }) => name === 'Holds for')!.figure).toMatch(
      /^5\.\d to 25\.\d °C/,
    );
  });

  it('too few readings, with how many more', () => {
    const fit = examined(ordinary.slice(0, 20));
    const { standing, advice } = judge(fit, DECLARED, { degrees: 0.2 });
    expect(standing).toBe('bad');
    const more = Number(
      /about (\d+) readings more/.exec(advice.map(({ then }) => then).join())![1],
    );
    // standard errors fall with the square root of the number of readings
    const half = 1.97 * ((fit.uncertainty.azimuth * 180) / Math.PI);
    expect(more).toBeGreaterThan(0.9 * 20 * ((half / 0.2) ** 2 - 1));
  });
});

describe('against the tolerance chosen', () => {
  const fit = examined(ordinary);
  const at = (tolerance: ToleranceChoice) => judge(fit, DECLARED, tolerance);

  it('one fit is good enough for a coarse one and not for a fine one, and says for which', () => {
    expect(at({ degrees: 2.5, grade: '3' }).verdict).toMatch(
      /^Good enough for BCRA grade 3 \(±2\.5°\): .*95 % interval/,
    );
    expect(at({ degrees: 1, grade: '5' }).standing).toBe('good');
    const fine = at({ degrees: 0.1 });
    expect(fine.standing).toBe('bad');
    expect(fine.verdict).toMatch(/^Not good enough for a tolerance of ±0\.1°: azimuth/);
    expect(fine.verdict).toMatch(/Likely cause: the noise of the sensors/);
  });

  it('says how many readings of a leg to average where one alone is not true enough', () => {
    const six = at({ degrees: 0.5, grade: '6' });
    expect(six.standing).toBe('watch');
    const single = finding(six, 'A single reading');
    expect(single.standing).toBe('watch');
    expect(single.words).toContain('the mean of 2 readings');
    // 1 mg and 0.2 % of the field at 65° of dip come to some 0.26° of azimuth × cos inclination, and the fit to 0.08°
    expect(parseFloat(single.figure.slice(2))).toBeGreaterThan(0.45);
    expect(parseFloat(single.figure.slice(2))).toBeLessThan(0.65);
  });

  it('spread alone lets nothing pass', () => {
    const beside = ordinary.map((reading) => ({ ...reading }));
    const good = judged(beside);
    const lost: Judged = {
      ...fit,
      readings: fit.readings.map((reading, i) => ({
        ...reading,
        field: reading.field * (1 + 0.04 * Math.sin(i)),
      })),
    };
    expect(finding(good, 'Mean spread').standing).toBe('good');
    const judgement = judge(lost, DECLARED);
    expect(finding(judgement, 'Mean spread').standing).toBe('good');
    expect(judgement.standing).toBe('bad');
  });

  it('figures of readings the fit saw do not stand for those left out', () => {
    const { heldOut: _, ...seen } = fit;
    const judgement = judge(seen, DECLARED);
    expect(finding(judgement, 'Sightings left out in turn').figure).toBe('not known');
    expect(judgement.standing).toBe('watch');
  });
});

describe('straight or bowed', () => {
  it.each([
    [0, 'straight', /simpler model is kept/],
    [0.02, 'bowed', /predicted clearly better/],
  ] as const)('curvature %f: which, why, and both figures', (curvature, model, why) => {
    const { readings } = simulateCalibration({ seed: 25, curvature });
    const { figure, words } = finding(judged(readings), 'Straight or bowed');
    expect(figure).toBe(model);
    expect(words).toMatch(why);
    expect(words).toMatch(/straight misses \d+(\.\d)? and bowed \d+(\.\d)?/);
  });

  it('says that nobody chose where a model was forced', () => {
    expect(finding(judged(ordinary, { model: 'bowed' }), 'Straight or bowed')).toMatchObject({
      figure: 'bowed',
      words: 'as asked for; the other model was not tried',
    });
  });
});

describe('what is not known is said', () => {
  const mounting = { acc: '-x-y-z', mag: '+y-x+z' };
  const bare = ordinary.map(({ aim: _, ...reading }) => reading);

  it('how the chips sit, and nothing is called good enough then', () => {
    const judgement = judge({ ...examined(bare, { mounting }), assumedAxes: true }, DECLARED);
    expect(judgement.standing).toBe('bad');
    expect(judgement.verdict).toMatch(
      /^Not known whether any angle is right: nothing says how the chips sit/,
    );
    expect(judgement.verdict).not.toMatch(/[Gg]ood enough/);
    expect(judgement.advice[0]!.then).toMatch(/how the chips are mounted/);
  });

  it('where the sight points, without two readings along one line', () => {
    const free = bare.map((reading, i) => ({ ...reading, sighting: `only ${i}` }));
    const judgement = judged(free, { mounting });
    expect(judgement.notKnown.join()).toMatch(/where the sight points/);
    expect(judgement.verdict).toMatch(
      /as far as these readings tell.*Not known: where the sight points/,
    );
  });
});
