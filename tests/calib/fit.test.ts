import { describe, expect, it } from 'vitest';
import {
  boundCovariance,
  meanSquareErrors,
  simulateCalibration,
  trueTheta,
  type SimulatedCalibration,
} from '../../bench/simulated-calibration.ts';
import { RAW_SCALES } from '../../firmware-sim/raw-readings.ts';
import { uncertaintyFrom } from '../../src/calib/covariance.ts';
import { fit, type Fit, type FitOptions } from '../../src/calib/fit.ts';
import { angleBetween, degrees, radians } from '../../src/calib/geometry.ts';
import { allMountings, applyCoefficients, coefficientValues } from '../../src/calib/model.ts';
import { cubePlan } from '../../src/calib/plan.ts';
import type { Reading, Vec3 } from '../../src/calib/reading.ts';

const declared: FitOptions = { scales: RAW_SCALES, noise: { acc: 16.4, mag: 6.8 } };

function fitted(readings: readonly Reading[], options: FitOptions = declared): Fit {
  const result = fit(readings, options);
  if (!result.ok) throw new Error(`${result.cause}: ${result.message}`);
  return result;
}

/** Root mean square azimuth error × cos inclination against the truth, degrees. */
const azimuthError = (result: Fit, calibration: SimulatedCalibration) =>
  degrees(Math.sqrt(meanSquareErrors(result.coefficients, calibration).azimuth));

const mountingOf = ({ settings }: SimulatedCalibration) => ({
  acc: settings.accMounting,
  mag: settings.magMounting,
});
const withoutAims = (readings: readonly Reading[]) =>
  readings.map(({ aim: _, ...reading }) => reading);
const withoutSightings = (readings: readonly Reading[]) =>
  readings.map(({ sighting: _, ...reading }) => reading);

describe('a fit of the cube plan', () => {
  const calibration = simulateCalibration({ seed: 11 });
  const result = fitted(calibration.readings);

  it('comes as near the truth as the readings allow', () => {
    const bound = uncertaintyFrom(trueTheta(calibration), boundCovariance(calibration));
    // one calibration scatters about its bound; over 25 effective unknowns, twice is five standard deviations off
    expect(azimuthError(result, calibration)).toBeLessThan(2 * degrees(bound.azimuth));
    expect(result.warnings).toEqual([]);
    expect(result.setAside).toEqual([]);
    expect(['converged', 'rounding']).toContain(result.stopped);
  });

  it('says how sure it is, near the bound that the true noise sets', () => {
    const bound = uncertaintyFrom(trueTheta(calibration), boundCovariance(calibration));
    // the noise found is itself known to a tenth or so
    expect(result.uncertainty.azimuth / bound.azimuth).toBeGreaterThan(0.75);
    expect(result.uncertainty.azimuth / bound.azimuth).toBeLessThan(1.33);
    // of 8 residuals a reading, less 24 effective unknowns, 3 a reading and 2 a sighting, 228 are redundant; each figure
    // rests on some of them
    expect(result.uncertainty.freedom.azimuth).toBeGreaterThan(60);
    expect(result.uncertainty.freedom.azimuth).toBeLessThan(228);
    expect(result.uncertainty.freedom.inclination).toBeGreaterThan(30);
    expect(result.uncertainty.freedom.inclination).toBeLessThan(228);
  });

  it('tells of each reading its angles, residuals, aiming error and misfit', () => {
    expect(result.readings).toHaveLength(56);
    for (const reading of result.readings) {
      expect(reading.used).toBe(true);
      expect(Math.abs(reading.gravity - 1)).toBeLessThan(0.01);
      expect(Math.abs(reading.field - 1)).toBeLessThan(0.02);
      expect(degrees(reading.dip!)).toBeGreaterThan(64);
      expect(degrees(reading.dip!)).toBeLessThan(66);
      expect(Math.hypot(...reading.accResidual!)).toBeLessThan(100);
      expect(Math.hypot(...reading.magResidual!)).toBeLessThan(50);
      expect(degrees(reading.aimError!)).toBeLessThan(0.8);
      expect(reading.misfit!).toBeLessThan(2.5);
    }
    const chiSquares = result.readings.map(({ misfit }) => misfit! ** 2);
    // mean of χ²₅/5 over 56, less what correlations take: one within three standard deviations (√(2/5/56) = 0.085)
    expect(chiSquares.reduce((a, b) => a + b) / 56).toBeGreaterThan(0.75);
    expect(chiSquares.reduce((a, b) => a + b) / 56).toBeLessThan(1.25);
  });

  it('gives each sighting a spread over its four readings, and their mean', () => {
    expect(result.sightings.map(({ n }) => n)).toEqual(new Array(14).fill(4));
    const spreads = result.sightings.map(({ spread }) => spread!);
    expect(result.meanSpread).toBeCloseTo(spreads.reduce((a, b) => a + b) / 14, 15);
    // common practice accepts a mean under 0.5°; this sensor does far better
    expect(degrees(result.meanSpread!)).toBeLessThan(0.5);
    expect(degrees(result.meanSpread!)).toBeGreaterThan(0.05);
  });

  it('holds only numbers that a binary32 can hold', () => {
    for (const value of coefficientValues(result.coefficients)) {
      expect(Math.fround(value)).toBe(value);
    }
  });

  it('can be sent to another thread whole', () => {
    expect(structuredClone(result)).toEqual(result);
  });

  it('does not care in which order the readings come', () => {
    const shuffled = calibration.readings.map((_, i) => calibration.readings[(i * 25) % 56]!);
    const other = fitted(shuffled);
    coefficientValues(other.coefficients).forEach((value, i) =>
      // within rounding to binary32 and the tolerance of the noise's own iteration (0.2 %)
      expect(value).toBeCloseTo(coefficientValues(result.coefficients)[i]!, 4),
    );
  });

  it('sets roll to zero where the plan has it', () => {
    const rolls = result.readings.map(({ roll }, i) => {
      const { aim } = calibration.readings[i]!;
      return Math.abs(aim!.inclination!) > 1.5 ? 0 : Math.sin(roll! - aim!.roll!);
    });
    expect(Math.abs(degrees(rolls.reduce((a, b) => a + b) / 48))).toBeLessThan(0.2);
  });
});

describe('the noise is found from the readings', () => {
  // relative standard error of a component is about √(1/(2·redundancy)); redundancies are some 60 to 100
  it.each([
    ['as declared', 1],
    ['declared three times too large', 3],
    ['declared three times too small', 1 / 3],
  ])('%s', (_, factor) => {
    const found = [1, 2, 3, 4, 5, 6].map((seed) => {
      const { readings } = simulateCalibration({ seed });
      return fitted(readings, {
        ...declared,
        noise: { acc: 16.384 * factor, mag: 6.8 * factor },
        screening: false,
      }).noise;
    });
    const mean = (f: (noise: Fit['noise']) => number) =>
      found.reduce((sum, noise) => sum + f(noise), 0) / found.length;
    expect(mean(({ acc }) => acc) / 16.384).toBeGreaterThan(0.9);
    expect(mean(({ acc }) => acc) / 16.384).toBeLessThan(1.1);
    expect(mean(({ mag }) => mag) / 6.8).toBeGreaterThan(0.88);
    expect(mean(({ mag }) => mag) / 6.8).toBeLessThan(1.12);
    expect(degrees(mean(({ aim }) => aim!))).toBeGreaterThan(0.08);
    expect(degrees(mean(({ aim }) => aim!))).toBeLessThan(0.12);
  });

  it('for a coarse sensor as for a fine one', () => {
    const coarse = simulateCalibration({ seed: 8, accNoise: 4, magNoise: 0.8, aim: 0.3 });
    const { noise } = fitted(coarse.readings, { scales: RAW_SCALES, screening: false });
    expect(noise.acc / (4 * 16.384)).toBeGreaterThan(0.75);
    expect(noise.acc / (4 * 16.384)).toBeLessThan(1.25);
    expect(noise.mag / (4 * 6.8)).toBeGreaterThan(0.75);
    expect(noise.mag / (4 * 6.8)).toBeLessThan(1.25);
  });
});

describe('chips may sit in any of 48 ways each', () => {
  // every mounting of the accelerometer, each beside another one of the magnetometer
  const pairs = allMountings.map((acc, i) => [acc, allMountings[(i * 29 + 7) % 48]!] as const);

  it.each(pairs)('%s and %s, found from the plan alone', (accMounting, magMounting) => {
    const calibration = simulateCalibration({ seed: 3, accMounting, magMounting });
    const result = fitted(calibration.readings);
    expect(azimuthError(result, calibration)).toBeLessThan(0.25);
    expect(result.warnings).toEqual([]);
  });

  it.each(pairs.filter((_, i) => i % 3 === 0))(
    '%s and %s, as declared, without a plan',
    (accMounting, magMounting) => {
      const calibration = simulateCalibration({ seed: 4, accMounting, magMounting });
      const result = fitted(withoutAims(calibration.readings), {
        ...declared,
        mounting: mountingOf(calibration),
      });
      expect(azimuthError(result, calibration)).toBeLessThan(0.25);
      expect(result.warnings).toEqual([]);
    },
  );

  it('with relative azimuths and a dip of known sign', () => {
    const calibration = simulateCalibration({ seed: 5 });
    const turned = calibration.readings.map((reading) => ({
      ...reading,
      aim: { ...reading.aim, azimuth: reading.aim!.azimuth! + 2 },
    }));
    const result = fitted(turned, { ...declared, planAzimuths: 'relative', dipSign: 1 });
    expect(azimuthError(result, calibration)).toBeLessThan(0.25);
  });

  it.each([-85, -40, 0, 30, 85])('at %i° of dip', (dip) => {
    const calibration = simulateCalibration({ seed: 6, dip });
    const result = fitted(calibration.readings);
    // steep fields leave little of their length level: the bound grows as one over the cosine
    expect(azimuthError(result, calibration) * Math.cos(radians(dip))).toBeLessThan(0.15);
    expect(degrees(result.dip)).toBeGreaterThan(dip - 0.3);
    expect(degrees(result.dip)).toBeLessThan(dip + 0.3);
  });
});

describe('what the readings do not say is refused or asked, never guessed', () => {
  const calibration = simulateCalibration({ seed: 21 });

  it.each([3, 4, 5, 6])(
    'with inclinations and %i rolls a sighting, and a dip of known sign',
    (n) => {
      const rolls = Array.from({ length: n }, (_, i) => (2 * Math.PI * i) / n);
      const plan = cubePlan().map((sighting) => ({ ...sighting, rolls }));
      const several = simulateCalibration({ seed: 3, accMounting: '+y-x+z' }, { plan });
      const readings = several.readings.map(({ aim, ...reading }) => ({
        ...reading,
        aim: { inclination: aim!.inclination!, roll: aim!.roll! },
      }));
      const result = fitted(readings, { ...declared, dipSign: 1 });
      expect(azimuthError(result, several)).toBeLessThan(0.5);
    },
  );

  it('relative azimuths leave the sign of dip open', () => {
    const result = fit(calibration.readings, { ...declared, planAzimuths: 'relative' });
    expect(result).toMatchObject({ ok: false, cause: 'ambiguous' });
    expect(!result.ok && result.next).toMatch(/dips down/);
  });

  it('neither plan nor mounting leaves ends and mirrors open', () => {
    const result = fit(withoutAims(calibration.readings), declared);
    expect(result).toMatchObject({ ok: false, cause: 'ambiguous' });
    expect(!result.ok && result.next).toMatch(/mounting/);
  });

  it('too few readings', () => {
    expect(fit(calibration.readings.slice(0, 11), declared)).toMatchObject({
      ok: false,
      cause: 'too_few',
    });
  });

  it.each([
    ['all level', (reading: Reading) => reading.aim!.inclination === 0 && reading.aim!.roll === 0],
    ['one roll only', (reading: Reading) => reading.aim!.roll === 0],
  ])('%s: a direction is never seen, and the words say which', (_, keep) => {
    // the same plan several times over, so that number is not what is missing
    const many = [1, 2, 3, 4].flatMap((seed) =>
      simulateCalibration({ seed: 21, rollAim: 0.2, aim: 0.1 + seed / 1000 })
        .readings.filter(keep)
        .map((reading) => ({
          ...reading,
          id: `${seed}-${reading.id}`,
          sighting: `${seed}-${reading.sighting}`,
        })),
    );
    const result = fit(many, { ...declared, mounting: mountingOf(calibration) });
    expect(result).toMatchObject({ ok: false, cause: 'undetermined' });
    expect(!result.ok && result.message).toMatch(/level|plane/);
    expect(!result.ok && result.next).toMatch(/roll/);
  });

  it('readings in another order than the plan', () => {
    const mixed = calibration.readings.map((reading, i) => ({
      ...reading,
      aim: calibration.readings[(i * 13 + 5) % 56]!.aim!,
    }));
    expect(fit(mixed, declared)).toMatchObject({ ok: false, cause: 'contradiction' });
  });

  it('a declared mounting that contradicts the readings is told, and the plan followed', () => {
    const result = fitted(calibration.readings, {
      ...declared,
      mounting: { acc: '+z+y+x', mag: '+x+z+y' },
    });
    expect(result.warnings.join()).toMatch(/declared mounting/);
    expect(azimuthError(result, calibration)).toBeLessThan(0.25);
  });

  it('a reading given twice, or with a count that is no number, is an error of the caller', () => {
    const twice = [...calibration.readings, calibration.readings[0]!];
    expect(() => fit(twice, declared)).toThrow(RangeError);
    const broken = calibration.readings.map((reading, i) =>
      i === 3 ? { ...reading, acc: [NaN, 0, 0] as Vec3 } : reading,
    );
    expect(() => fit(broken, declared)).toThrow(/finite/);
    expect(() =>
      fit(calibration.readings, { ...declared, mounting: { acc: '+x+x+z', mag: '+x+y+z' } }),
    ).toThrow(/mounting/);
  });
});

describe('bad readings are set aside and named', () => {
  const calibration = simulateCalibration({ seed: 31 });
  const spoil = (index: number, change: (reading: Reading) => Partial<Reading>) =>
    calibration.readings.map((reading, i) =>
      i === index ? { ...reading, ...change(reading) } : reading,
    );
  const moved = (v: Vec3, x: number, y: number, z: number): Vec3 => [v[0] + x, v[1] + y, v[2] + z];

  it('a disturbed field', () => {
    const readings = spoil(17, ({ mag }) => ({ mag: moved(mag, 400, -200, 100) }));
    const { setAside } = fitted(readings);
    expect(setAside.map(({ id }) => id)).toEqual(['18']);
    expect(setAside[0]!.reason).toMatch(/disturbed/);
  });

  it('a board that moved', () => {
    const readings = spoil(30, ({ acc }) => ({ acc: acc.map((a) => a * 1.05) as unknown as Vec3 }));
    const { setAside } = fitted(readings);
    expect(setAside.map(({ id }) => id)).toEqual(['31']);
    expect(setAside[0]!.reason).toMatch(/moving/);
  });

  it('a wrong aim: the reading of another sighting', () => {
    const stranger = simulateCalibration(
      { seed: 31 },
      { plan: [{ name: 'x', azimuth: 0.1, inclination: 0.05, rolls: [0.3] }] },
    ).readings[0]!;
    const readings = spoil(0, () => ({ acc: stranger.acc, mag: stranger.mag }));
    const { setAside } = fitted(readings);
    expect(setAside.map(({ id }) => id)).toEqual(['1']);
    expect(setAside[0]!.reason).toMatch(/wrong aim/);
  });

  it('the set-aside reading is still seen through the coefficients, and counted in no spread', () => {
    const readings = spoil(17, ({ mag }) => ({ mag: moved(mag, 400, -200, 100) }));
    const result = fitted(readings);
    const view = result.readings[17]!;
    expect(view.used).toBe(false);
    expect(view.azimuth).toBeDefined();
    expect(view.magResidual).toBeUndefined();
    expect(result.sightings.find(({ sighting }) => sighting === readings[17]!.sighting)!.n).toBe(3);
  });

  it('unless every reading is to be used', () => {
    const readings = spoil(17, ({ mag }) => ({ mag: moved(mag, 400, -200, 100) }));
    expect(fitted(readings, { ...declared, screening: false }).setAside).toEqual([]);
  });
});

describe('readings as they come', () => {
  it('free attitudes without sightings give all but the sight axis, and say so', () => {
    const calibration = simulateCalibration({ seed: 41 });
    // in another order, so that no two of a sighting follow each other
    const scattered = calibration.readings.map((_, i) => calibration.readings[(i * 17) % 56]!);
    const result = fitted(withoutSightings(withoutAims(scattered)), {
      ...declared,
      mounting: mountingOf(calibration),
    });
    expect(result.warnings.join()).toMatch(/sight axis/);
    expect(result.noise.aim).toBeUndefined();
    expect(result.meanSpread).toBeUndefined();
    // chips are askew by up to 1.5° about each axis, and that goes into the answer
    expect(azimuthError(result, calibration)).toBeLessThan(4);
  });

  it('sightings are found where the file names none, and fit as well as named ones', () => {
    const calibration = simulateCalibration({
      seed: 47,
      accMounting: '+z-x+y',
      magMounting: '-y+x+z',
    });
    const named = fitted(calibration.readings);
    const found = fitted(withoutSightings(calibration.readings));
    expect(found.warnings.join()).toMatch(/14 were found/);
    expect(found.sightings.map(({ n }) => n)).toEqual(new Array(14).fill(4));
    expect(coefficientValues(found.coefficients)).toEqual(coefficientValues(named.coefficients));
  });

  it('sightings are found with a turn missing, a fifth reading and one given up, without any plan', () => {
    const calibration = simulateCalibration({ seed: 48 });
    const messy = withoutSightings(withoutAims(calibration.readings)).flatMap((reading, i) =>
      i === 6 || (i > 20 && i < 24)
        ? []
        : i === 33
          ? [reading, { ...reading, id: 'again' }]
          : [reading],
    );
    const result = fitted(messy, { ...declared, mounting: mountingOf(calibration) });
    expect(result.sightings.map(({ n }) => n)).toEqual([4, 3, 4, 4, 4, 4, 4, 5, 4, 4, 4, 4, 4]);
    expect(azimuthError(result, calibration)).toBeLessThan(0.3);
  });

  it('a missing quarter turn, a fifth reading and one alone do no harm', () => {
    const calibration = simulateCalibration({ seed: 42 });
    const extra = simulateCalibration({ seed: 43 }).readings[0]!;
    expect(extra.sighting).toBe('1');
    const same = simulateCalibration({ seed: 42 }).readings;
    const readings = [
      ...same.filter((_, i) => i !== 5 && !(i >= 20 && i < 23)),
      { ...same[9]!, id: 'again' },
    ];
    const result = fitted(readings);
    expect(azimuthError(result, calibration)).toBeLessThan(0.3);
    const sizes = new Map(result.sightings.map(({ sighting, n }) => [sighting, n]));
    expect([sizes.get('2'), sizes.get('3'), sizes.get('6')]).toEqual([3, 5, 1]);
    expect(result.sightings.find(({ n }) => n === 1)!.spread).toBeUndefined();
  });

  it('without a scale the ellipsoid gives one, and a warning says so', () => {
    const calibration = simulateCalibration({ seed: 44 });
    const result = fitted(calibration.readings, {});
    expect(result.warnings.join()).toMatch(/scale/);
    expect(result.coefficients.accScale / RAW_SCALES.acc).toBeGreaterThan(0.9);
    expect(result.coefficients.accScale / RAW_SCALES.acc).toBeLessThan(1.1);
    expect(azimuthError(result, calibration)).toBeLessThan(0.25);
  });

  it('noise-free readings give the truth back', () => {
    const calibration = simulateCalibration({
      seed: 45,
      accNoise: 0,
      magNoise: 0,
      aim: 0,
      rollAim: 0,
    });
    const exact = calibration.readings.map((reading, i) => {
      const R = calibration.raw[i]!.rotation;
      const dip = radians(calibration.settings.dip);
      const column = (c: 0 | 1 | 2): Vec3 => [R[0][c], R[1][c], R[2][c]];
      const body = (w: Vec3) =>
        ([0, 1, 2] as const).map((c) =>
          column(c).reduce((s, x, k) => s + x * w[k]!, 0),
        ) as unknown as Vec3;
      return {
        ...reading,
        ...calibration.instrument.exact(body([0, 0, 1]), body([Math.cos(dip), 0, Math.sin(dip)])),
      };
    });
    const result = fitted(exact);
    // what is left is the rounding of coefficients to binary32: 6e-8 in each of some ten terms
    expect(azimuthError(result, calibration)).toBeLessThan(1e-4);
    expect(radians(azimuthError(result, calibration))).toBeLessThan(1e-6);
  });

  it('a bowed model takes up a curvature that a straight one cannot', () => {
    const calibration = simulateCalibration({ seed: 46, curvature: 0.02 });
    const straight = azimuthError(
      fitted(calibration.readings, { ...declared, screening: false }),
      calibration,
    );
    const bowed = fitted(calibration.readings, { ...declared, model: 'bowed' });
    expect(bowed.coefficients.model).toBe('bowed');
    expect(azimuthError(bowed, calibration)).toBeLessThan(0.25);
    expect(azimuthError(bowed, calibration)).toBeLessThan(straight);
    bowed.coefficients.q.forEach((q, i) => {
      expect(q / calibration.instrument.acc.curvature[i]!).toBeGreaterThan(0.7);
      expect(q / calibration.instrument.acc.curvature[i]!).toBeLessThan(1.3);
    });
  });
});

describe('coefficients applied', () => {
  it('give back what the fit says of each reading', () => {
    const calibration = simulateCalibration({ seed: 51 });
    const result = fitted(calibration.readings);
    calibration.readings.forEach(({ acc, mag }, i) => {
      const applied = applyCoefficients(result.coefficients, acc, mag);
      expect(applied.azimuth).toBe(result.readings[i]!.azimuth);
      expect(applied.field).toBe(result.readings[i]!.field);
      expect(angleBetween(applied.g, applied.b)).toBeCloseTo(Math.PI / 2 - applied.dip!, 12);
    });
  });
});
