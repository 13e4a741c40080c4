import fc from 'fast-check';
import { inverse, Matrix, pseudoInverse } from 'ml-matrix';
import { describe, expect, it } from 'vitest';
import {
  simulateCalibration,
  type SimulatedCalibration,
} from '../../bench/simulated-calibration.ts';
import { randomStream } from '../../firmware-sim/random.ts';
import { RAW_SCALES } from '../../firmware-sim/raw-readings.ts';
import { CalibrationProblem } from '../../src/calib/calibration-problem.ts';
import { fit, type Fit, type FitOptions } from '../../src/calib/fit.ts';
import { cubePlan } from '../../src/calib/plan.ts';
import type { Reading, Vec3 } from '../../src/calib/reading.ts';
import { fisherTail } from '../../src/calib/quantiles.ts';
import {
  testResiduals,
  type ResidualTest,
  type ResidualTestName,
} from '../../src/calib/residual-tests.ts';
import { levenbergMarquardt } from '../../src/calib/solver.ts';
import { inScale, observe, stateFrom } from '../../src/calib/state.ts';
import type { SimulatorSettings } from '../../src/protocol/simulator.ts';

type Warm = Reading & { temperature?: number };

const plan = cubePlan();
const declared = { acc: 16.384, mag: 6.8 };
const simulate = (change: Partial<SimulatorSettings>): SimulatedCalibration =>
  simulateCalibration(change, { plan });

function fitted(readings: readonly Reading[], options: FitOptions = {}): Fit {
  const result = fit(readings, {
    scales: RAW_SCALES,
    noise: declared,
    screening: false,
    ...options,
  });
  if (!result.ok) throw new Error(`${result.cause}: ${result.message}`);
  return result;
}

/** Temperatures that go up and down a few times in a session. */
const warmed = (readings: readonly Reading[]): Warm[] =>
  readings.map((reading, i) => ({ ...reading, temperature: 14 + 3 * Math.sin(i * 0.7) }));

const shifted = (reading: Warm, sensor: 'acc' | 'mag', by: Vec3): Warm => ({
  ...reading,
  [sensor]: reading[sensor].map((count, i) => count + by[i]!),
});

const tested = (readings: readonly Warm[], options?: FitOptions) =>
  testResiduals(fitted(readings, options), readings, { declared });
const named = (tests: readonly ResidualTest[], name: ResidualTestName) =>
  tests.find((test) => test.name === name)!;
const departing = (tests: readonly ResidualTest[]) =>
  tests.filter(({ verdict }) => verdict === 'departs').map(({ name }) => name);

describe('where nothing is wrong', () => {
  const trials = Array.from({ length: 200 }, (_, i) =>
    tested(warmed(simulate({ seed: 5000 + i }).readings)),
  );

  it('at most one session in a hundred has a false finding', () => {
    // of 200 at 1 %, eight or more would come once in a thousand times (binomial)
    const alarms = trials.filter((tests) => departing(tests).length > 0).length;
    expect(alarms).toBeLessThanOrEqual(7);
  });

  it.each(trials[0]!.map(({ name }) => [name]))('%s is as sure as it says', (name) => {
    const p = trials.map((tests) => named(tests, name).p!);
    const under = (limit: number) => p.filter((value) => value < limit).length;
    // four standard deviations of the binomial about 100 of 200, and the same chance (some 3e-5 a side) about 10
    expect(under(0.5)).toBeGreaterThanOrEqual(72);
    expect(under(0.5)).toBeLessThanOrEqual(128);
    expect(under(0.05)).toBeGreaterThanOrEqual(1);
    expect(under(0.05)).toBeLessThanOrEqual(24);
  });
}, 120_000);

describe('where nothing is wrong in other sets', () => {
  const alarms = (
    change: Partial<SimulatorSettings>,
    choose: (r: Reading[]) => Reading[] = (r) => r,
  ) =>
    Array.from({ length: 30 }, (_, i) => {
      const readings = choose(simulate({ seed: 7000 + i, ...change }).readings);
      // nothing is declared here: a coarse sensor is no finding
      const result = fitted(readings, { model: change.curvature ? 'bowed' : 'straight' });
      return departing(testResiduals(result, readings));
    }).filter((names) => names.length > 0);

  // of 30 at 1 %, four or more would come twice in ten thousand times (binomial)
  it.each([
    ['a coarse sensor in an unsteady hand', { accNoise: 4, magNoise: 0.8, aim: 0.3 }],
    ['a bowed sensor with a bowed model', { curvature: 0.02 }],
    ['a steep field', { dip: -80 }],
  ])(
    '%s gives no more false findings',
    (_, change) => {
      expect(alarms(change).length).toBeLessThanOrEqual(3);
    },
    60_000,
  );

  it('24 readings give no more', () => {
    const few = alarms({}, (readings) => readings.filter(({ sighting }) => Number(sighting) <= 6));
    expect(few.length).toBeLessThanOrEqual(3);
  }, 60_000);
});

describe('what is wrong is found', () => {
  // each in ten of ten sessions; a power of 95 % would give that in 60 % of cases, so it is well over
  const sessions = Array.from({ length: 10 }, (_, i) => 9000 + i);

  it.each(sessions)(
    'a hard iron that drifts by a fiftieth of the field through the session, %i',
    (seed) => {
      const { readings } = simulate({ seed });
      const drifting = readings.map((reading, i) => shifted(reading, 'mag', [(68 * i) / 55, 0, 0]));
      const tests = tested(drifting);
      expect(departing(tests)).toContain('order_mag');
      // the drift itself, within five of its standard errors (noise 6.8 counts over some 56 readings, drift 0 to 1)
      const [x, y, z] = named(tests, 'order_mag').change!;
      expect(Math.abs(x - 68)).toBeLessThan(30);
      expect(Math.abs(y)).toBeLessThan(30);
      expect(Math.abs(z)).toBeLessThan(30);
    },
  );

  it.each(sessions)('an accelerometer whose offset grows with temperature, %i', (seed) => {
    const readings = warmed(simulate({ seed }).readings).map((reading) =>
      // 2 mg per degree, over six degrees
      shifted(reading, 'acc', [0, 0, 33 * (reading.temperature! - 14)]),
    );
    const tests = tested(readings);
    expect(departing(tests)).toContain('temperature_acc');
    expect(Math.abs(named(tests, 'temperature_acc').change![2] - 33 * 6)).toBeLessThan(80);
  });

  it.each(sessions)('a magnetometer whose offset grows with temperature, %i', (seed) => {
    const readings = warmed(simulate({ seed }).readings).map((reading) =>
      // 0.4 % of the field per degree; every fifth reading does not tell its temperature
      shifted(reading, 'mag', [0, 13.6 * (reading.temperature! - 14), 0]),
    );
    const some = readings.map(({ temperature, ...reading }, i): Warm =>
      i % 5 === 0 ? reading : { ...reading, temperature: temperature! },
    );
    expect(departing(tested(some))).toContain('temperature_mag');
  });

  it.each(sessions)('curvature of a fiftieth under a straight model, %i', (seed) => {
    const { readings } = simulate({ seed, curvature: 0.02 });
    expect(departing(tested(readings))).toEqual(
      expect.arrayContaining([expect.stringMatching(/^attitude_/)]),
    );
    const bowed = departing(tested(readings, { model: 'bowed' }));
    expect(bowed.filter((name) => name.startsWith('attitude_'))).toEqual([]);
  });

  it.each(sessions)('an accelerometer with a cubic response, under either model, %i', (seed) => {
    const readings = simulate({ seed }).readings.map((reading) => {
      const [x, y, z] = reading.acc.map((count) => 16384 * 0.01 * (count / 16384) ** 3);
      return shifted(reading, 'acc', [x!, y!, z!]);
    });
    for (const model of ['straight', 'bowed'] as const) {
      expect(departing(tested(readings, { model }))).toContain('attitude_gravity');
    }
  });

  it.each(sessions)('a magnet in the pocket that pulls by its side, %i', (seed) => {
    // a loose part that hangs: its field depends on where down is
    const { readings } = simulate({ seed });
    const loose = readings.map((reading) => {
      const sag = reading.acc.map((count) => (0.02 * 3400 * Math.abs(count)) / 16384);
      return shifted(reading, 'mag', [sag[1]!, sag[2]!, sag[0]!]);
    });
    expect(departing(tested(loose))).toEqual(
      expect.arrayContaining([expect.stringMatching(/^attitude_/)]),
    );
  });

  it.each(sessions)('noise that clings from reading to reading, %i', (seed) => {
    const random = randomStream(seed, 'wandering field');
    let at = 0;
    const { readings } = simulate({ seed });
    const wandering = readings.map((reading) => {
      at = 0.9 * at + random.normal();
      return shifted(reading, 'mag', [0, 15 * at, 0]);
    });
    expect(
      departing(tested(wandering)).filter((name) => /^(serial|order)_mag/.test(name)),
    ).not.toEqual([]);
  });

  it.each(sessions)('a board noisier than it declares, or quieter, %i', (seed) => {
    const { readings } = simulate({ seed });
    const result = fitted(readings);
    const against = (factor: number) =>
      testResiduals(result, readings, {
        declared: { acc: declared.acc / factor, mag: declared.mag / factor },
      });
    for (const factor of [2, 0.5]) {
      const noise = departing(against(factor)).filter((name) => name.startsWith('noise_'));
      expect(noise).toEqual(['noise_acc', 'noise_mag']);
      expect(named(against(factor), 'noise_acc').ratio! / factor).toBeCloseTo(1, 0);
    }
  });
});

describe('the tests', () => {
  const readings = warmed(simulate({ seed: 1 }).readings);
  const tests = tested(readings);

  it('come in a fixed order, each with its figures', () => {
    expect(tests.map(({ name }) => name)).toEqual([
      'noise_acc',
      'noise_mag',
      ...['acc', 'mag'].flatMap((chip) => ['x', 'y', 'z'].map((axis) => `serial_${chip}_${axis}`)),
      'order_acc',
      'order_mag',
      'temperature_acc',
      'temperature_mag',
      'attitude_gravity',
      'attitude_field',
      'attitude_dip',
    ]);
    for (const { statistic, p, adjusted, verdict } of tests) {
      expect(Number.isFinite(statistic)).toBe(true);
      expect(p!).toBeGreaterThan(0);
      expect(adjusted!).toBeGreaterThanOrEqual(p!);
      expect(adjusted!).toBeLessThanOrEqual(1);
      expect(verdict).toBe('as_expected');
    }
  });

  it('are adjusted for their number as Holm has it', () => {
    const sorted = [...tests].sort((a, b) => a.p! - b.p!);
    expect(sorted[0]!.adjusted).toBeCloseTo(Math.min(1, 15 * sorted[0]!.p!), 12);
    const steps = sorted.map(({ p }, i) => Math.min(1, (15 - i) * p!));
    sorted.forEach(({ adjusted }, i) =>
      expect(adjusted).toBeCloseTo(Math.max(...steps.slice(0, i + 1)), 12),
    );
  });

  it('can be judged at another level', () => {
    const result = fitted(readings);
    const against = (level?: number) =>
      named(
        testResiduals(result, readings, {
          declared: { ...declared, acc: result.noise.acc / 1.3 },
          ...(level === undefined ? {} : { level }),
        }),
        'noise_acc',
      );
    const { adjusted, verdict } = against();
    expect(adjusted!).toBeGreaterThan(0.01);
    expect(verdict).toBe('as_expected');
    expect(against(adjusted! * 1.01).verdict).toBe('departs');
    expect(against(adjusted! * 0.99).verdict).toBe('as_expected');
  });

  it('say of a session in reverse the same, but for the sign of the drift', () => {
    const back = tested([...readings].reverse());
    for (const { name, statistic, change } of tests) {
      const other = named(back, name);
      // the noise is found to 0.2 %, and the solver's own end differs a little
      expect(Math.abs(other.statistic! - statistic!)).toBeLessThan(
        0.02 * (1 + Math.abs(statistic!)),
      );
      const sign = name.startsWith('order') ? -1 : 1;
      change?.forEach((value, i) =>
        expect(Math.abs(other.change![i]! - sign * value)).toBeLessThan(0.5),
      );
    }
  });

  it('do not depend on the scales', () => {
    const other = tested(readings, { scales: { acc: 8000, mag: 5000 } });
    for (const { name, statistic } of tests) {
      expect(Math.abs(named(other, name).statistic! - statistic!)).toBeLessThan(
        0.02 * (1 + Math.abs(statistic!)),
      );
    }
  });

  it('go on without temperature or declared noise, and say so', () => {
    const bare = testResiduals(fitted(readings), simulate({ seed: 1 }).readings);
    for (const name of ['temperature_acc', 'temperature_mag'] as const) {
      expect(named(bare, name)).toEqual({ name, verdict: 'cannot_tell', why: 'no_temperature' });
    }
    for (const name of ['noise_acc', 'noise_mag'] as const) {
      expect(named(bare, name)).toEqual({ name, verdict: 'cannot_tell', why: 'not_declared' });
    }
    expect(named(bare, 'order_mag').p!).toBeGreaterThan(0);
    const even = readings.map((reading) => ({ ...reading, temperature: 20 }));
    expect(named(testResiduals(fitted(readings), even), 'temperature_acc').why).toBe(
      'no_temperature',
    );
  });

  it('work on free attitudes, with no sighting among them', () => {
    // in another order, so that no two of a sighting follow each other and none is found
    const free = readings.map((_reading, i) => {
      const { sighting: _, ...reading } = readings[(i * 17) % readings.length]!;
      return reading;
    });
    const result = fitted(free, { mounting: { acc: '-x-y-z', mag: '+y-x+z' } });
    const found = testResiduals(result, free, { declared });
    // three redundant residuals a reading leave less, but the noise of both chips still stands
    expect(departing(found)).toEqual([]);
    expect(named(found, 'noise_mag').freedom![0]!).toBeLessThan(
      named(tests, 'noise_mag').freedom![0]!,
    );
  });

  it('leave out what the fit set aside', () => {
    const spoilt = readings.map((reading, i) =>
      i === 20 ? shifted(reading, 'mag', [900, 0, 0]) : reading,
    );
    const result = fitted(spoilt, { screening: true });
    expect(result.setAside.map(({ id }) => id)).toEqual(['21']);
    expect(departing(testResiduals(result, spoilt, { declared }))).toEqual([]);
  });

  it('refuse the readings of another fit', () => {
    expect(() => testResiduals(fitted(readings), readings.slice(1))).toThrow(RangeError);
    expect(() => testResiduals(fitted(readings), [...readings].reverse())).toThrow(RangeError);
  });
});

describe('the figures', () => {
  // the same from the whole Jacobian and its pseudo-inverse, with nothing eliminated
  const readings = simulate({ seed: 77 }).readings.slice(0, 24);
  const result = fitted(readings);
  const tests = testResiduals(result, readings, { declared });
  const { coefficients, dip, noise } = result;
  const scaled = inScale(readings, RAW_SCALES);
  const data = observe(
    scaled,
    readings.map(() => true),
    true,
  );
  const { theta, attitudes } = stateFrom(scaled, coefficients, dip);
  const problem = new CalibrationProblem(data, theta, attitudes);
  problem.noise = {
    acc: noise.acc / RAW_SCALES.acc,
    mag: noise.mag / RAW_SCALES.mag,
    aim: noise.aim!,
  };
  levenbergMarquardt(problem);
  const rows = 8 * data.count;
  const J = Matrix.zeros(rows, problem.width + 3 * data.count + 2 * data.sightings);
  readings.forEach((_, j) => {
    const { jacobian } = problem.jacobianOf(j);
    for (let i = 0; i < 8; i++) {
      const row = [...jacobian.subarray(i * (problem.width + 5), (i + 1) * (problem.width + 5))];
      row.forEach((value, c) => {
        const own = c - problem.width;
        const column =
          own < 0
            ? c
            : own < 3
              ? problem.width + 3 * j + own
              : problem.width + 3 * data.count + 2 * data.sighting[j]! + own - 3;
        J.set(8 * j + i, column, value);
      });
    }
  });
  const M = Matrix.sub(Matrix.eye(rows), J.mmul(pseudoInverse(J)));
  const r = Matrix.columnVector([...problem.residuals()]);
  const each = Array.from({ length: rows }, (_, i) => i);
  const trace = (...factors: Matrix[]) => factors.reduce((a, b) => a.mmul(b)).trace();

  it.each([0, 1, 2, 3, 4, 5])('of the serial test of component %i', (component) => {
    const mine = each.filter((i) => i % 8 === component);
    const A = Matrix.zeros(mine.length, mine.length);
    for (let t = 1; t < mine.length; t++) {
      A.set(t, t - 1, 0.5);
      A.set(t - 1, t, 0.5);
    }
    const own = M.selection(mine, mine);
    const part = r.selection(mine, [0]);
    const [mean, variance] = [trace(A, own), 2 * trace(A, own, A, own)];
    const product = trace(part.transpose().mmul(A).mmul(part));
    const name = `serial_${component < 3 ? 'acc' : 'mag'}_${'xyz'[component % 3] as 'x'}` as const;
    expect(named(tests, name).statistic).toBeCloseTo((product - mean) / Math.sqrt(variance), 6);
  });

  const kind = (i: number) => (i % 8 < 3 ? 0 : i % 8 < 6 ? 1 : 2);
  const T = Matrix.zeros(3, 3);
  for (const i of each) {
    for (const c of each) T.set(kind(i), kind(c), T.get(kind(i), kind(c)) + M.get(i, c) ** 2);
  }
  const variances = inverse(T);

  it('of the noise tests', () => {
    expect(named(tests, 'noise_acc').freedom![0]).toBeCloseTo(1 / variances.get(0, 0), 5);
    expect(named(tests, 'noise_mag').freedom![0]).toBeCloseTo(1 / variances.get(1, 1), 5);
  });

  it('of the test for drift', () => {
    const Z = Matrix.zeros(rows, 3);
    readings.forEach((_, j) => {
      for (let i = 0; i < 3; i++) {
        Z.set(8 * j + 3 + i, i, ((2 * j) / 23 - 1) * (RAW_SCALES.mag / noise.mag));
      }
    });
    const left = M.mmul(Z);
    const best = inverse(left.transpose().mmul(left)).mmul(left.transpose()).mmul(r);
    const fall = trace(best.transpose().mmul(left.transpose()).mmul(r));
    // the part of each kind, mean over the three directions
    const root = inverse(left.transpose().mmul(left));
    const share = Matrix.columnVector(
      [0, 1, 2].map((k) => {
        const some = left.selection(
          each.filter((i) => kind(i) === k),
          [0, 1, 2],
        );
        return trace(some.transpose().mmul(some).mmul(root)) / 3;
      }),
    );
    const freedom = 1 / trace(share.transpose().mmul(variances).mmul(share));
    const test = named(tests, 'order_mag');
    expect(test.freedom![0]).toBe(3);
    expect(test.freedom![1]).toBeCloseTo(freedom - 3, 4);
    expect(test.statistic).toBeCloseTo(fall / 3 / ((freedom - fall) / (freedom - 3)), 6);
    test.change!.forEach((change, i) =>
      expect(change).toBeCloseTo(2 * RAW_SCALES.mag * best.get(i, 0), 3),
    );
  });
});

describe('the tail of F', () => {
  // upper critical values, as tabled at atozmath.com/CONM/DistributionTables.aspx?q=f
  it.each([
    [19, 2, 2, 0.05],
    [10.128, 1, 3, 0.05],
    [9.2766, 3, 3, 0.05],
    [5.3092, 5, 3, 0.1],
    [8.8123, 9, 3, 0.05],
    [99.3992, 10, 2, 0.01],
    [9.4414, 20, 2, 0.1],
    [241.8817, 10, 1, 0.05],
  ])('is as tabled at %d with %i and %i degrees', (value, k, freedom, p) => {
    expect(Math.abs(fisherTail(value, k, freedom) / p - 1)).toBeLessThan(1e-4);
  });

  it('and that of one over F, degrees exchanged, make one', () => {
    fc.assert(
      fc.property(
        fc.double({ min: 0.01, max: 100, noNaN: true }),
        fc.integer({ min: 1, max: 60 }),
        fc.integer({ min: 1, max: 60 }),
        (value, k, freedom) => {
          expect(fisherTail(value, k, freedom) + fisherTail(1 / value, freedom, k)).toBeCloseTo(
            1,
            8,
          );
        },
      ),
    );
  });
});
