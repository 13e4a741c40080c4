import { existsSync, readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { decimalYear, earthField, WMM_2025 } from '../../../src/steps/site/earth-field.ts';

const RADIANS = Math.PI / 180;
const DATA = new URL('../../../../shared/data/wmm2025/', import.meta.url);

/** The moment of a decimal year. */
function moment(year: number): Date {
  const whole = Math.floor(year);
  const [start, end] = [Date.UTC(whole), Date.UTC(whole + 1)];
  return new Date(start + (year - whole) * (end - start));
}

interface Row {
  year: number;
  kilometres: number;
  latitude: number;
  longitude: number;
  strength: number;
  dip: number;
  declination: number;
}

/** Compares with a row that is printed with one digit of nT and two of degrees. */
function expectRow({ year, kilometres, latitude, longitude, ...printed }: Row): void {
  const field = earthField({ latitude, longitude, height: kilometres * 1000 }, moment(year));
  // what rounding of the print allows, and as much again for that of the moment to a millisecond
  expect(Math.abs(field.strength - printed.strength)).toBeLessThan(0.06);
  expect(Math.abs(field.dip / RADIANS - printed.dip)).toBeLessThan(0.006);
  expect(Math.abs(field.declination / RADIANS - printed.declination)).toBeLessThan(0.006);
  expect(field.valid).toBe(true);
}

describe('the field of the earth', () => {
  // NOAA/BGS, WMM2025 test values: year, kilometres, latitude, longitude, F, dip, declination
  it.each([
    [2025.0, 0, 80, 0, 55178.5, 83.21, 1.28],
    [2025.0, 0, 0, 120, 41064.3, -14.93, -0.16],
    [2025.0, 0, -80, 240, 54698.2, -72.0, 68.78],
    [2025.0, 100, 80, 0, 52964.9, 83.26, 0.85],
    [2027.5, 0, 0, 120, 41036.9, -14.65, -0.24],
    [2027.5, 100, 80, 0, 53034.3, 83.29, 2.16],
  ])(
    'is that of the published test values of %d at %d km, %d north, %d east',
    (year, kilometres, latitude, longitude, strength, dip, declination) => {
      expectRow({ year, kilometres, latitude, longitude, strength, dip, declination });
    },
  );

  it('is that of all rows of the published test values', ({ skip }) => {
    const files = ['WMM2025_TEST_VALUES_report.txt', 'WMM2025_100rows.csv'];
    for (const file of files) {
      if (!existsSync(new URL(file, DATA))) skip(`../shared/data/wmm2025/${file} is not here`);
    }
    const [report, rows] = files.map((file) => readFileSync(new URL(file, DATA), 'utf8'));
    const numbers = (text: string, by: RegExp) =>
      text
        .split('\n')
        .filter((line) => /^\s*[\d.]/.test(line))
        .map((line) => line.trim().split(by).map(Number));
    const printed = [
      // year, km, latitude, longitude, X, Y, Z, H, F, dip, declination
      ...numbers(report!, /\s+/).map(([a, b, c, d, , , , , f, i, e]) => [a, b, c, d, f, i, e]),
      // year, km, latitude, longitude, x, y, z, h, f, dip, declination
      ...numbers(rows!, /,/).map(([a, b, c, d, , , , , f, i, e]) => [a, b, c, d, f, i, e]),
    ];
    expect(printed).toHaveLength(112);
    for (const [
      year,
      kilometres,
      latitude,
      longitude,
      strength,
      dip,
      declination,
    ] of printed as number[][]) {
      expectRow({
        year: year!,
        kilometres: kilometres!,
        latitude: latitude!,
        longitude: longitude!,
        strength: strength!,
        dip: dip!,
        declination: declination!,
      });
    }
  });

  it('is known to be past its model from 2030 on, and before 2025, and is told all the same', () => {
    const at = (date: string) =>
      earthField({ latitude: 47, longitude: 8, height: 0 }, new Date(date));
    expect(at('2024-12-31T23:59:59Z').valid).toBe(false);
    expect(at('2025-01-01T00:00:00Z').valid).toBe(true);
    expect(at('2029-12-31T23:59:59Z').valid).toBe(true);
    expect(at('2030-01-01T00:00:00Z')).toMatchObject({
      valid: false,
      model: 'WMM-2025',
      covers: { from: 2025, until: 2030 },
    });
    // it goes on from where it stood: a month changes nothing that a compass would show
    expect(
      Math.abs(at('2030-01-15T00:00:00Z').declination - at('2029-12-15T00:00:00Z').declination),
    ).toBeLessThan(0.03 * RADIANS);
  });

  it('takes other coefficients where it is given some', () => {
    const place = { latitude: 10, longitude: 20, height: 0 };
    const dipole = {
      ...WMM_2025,
      name: 'a dipole',
      degree: 1,
      g: [0, -30000, 0],
      h: [0, 0, 0],
      gPerYear: [0, 0, 0],
      hPerYear: [0, 0, 0],
    };
    const field = earthField(place, new Date('2026-01-01'), dipole);
    // of an axial dipole tan(dip) = 2 tan(latitude); the latitude of a sphere is 0.07° less than that of the ellipsoid
    expect(Math.tan(field.dip)).toBeCloseTo(2 * Math.tan(place.latitude * RADIANS), 2);
    expect(field.declination).toBeCloseTo(0, 12);
    expect(field.model).toBe('a dipole');
  });

  it('counts the days of a leap year, of which 2028 is one', () => {
    expect(decimalYear(new Date('2028-12-31T12:00:00Z'))).toBeCloseTo(2029 - 0.5 / 366, 9);
    expect(decimalYear(new Date('2027-07-02T12:00:00Z'))).toBeCloseTo(2027.5, 9);
  });
});
