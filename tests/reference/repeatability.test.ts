import { describe, expect, it } from 'vitest';
import { precisionOf } from '../../src/calib/repeatability.ts';

/**
 * NIST Statistical Reference Datasets, analysis of variance, SiRstv (public domain): resistivity of silicon wafers, five
 * instruments by five days. The readings are typed from memory; that they are the published ones shows in both certified
 * mean squares, to every digit.
 */
const SIRSTV = [
  [196.3052, 196.124, 196.189, 196.2569, 196.3403],
  [196.3042, 196.3825, 196.1669, 196.3257, 196.0422],
  [196.1303, 196.2005, 196.2889, 196.0343, 196.1811],
  [196.2795, 196.1748, 196.1494, 196.1485, 195.9885],
  [196.2119, 196.1051, 196.185, 196.0052, 196.209],
];

describe('repeatability of the five instruments of NIST SiRstv', () => {
  const found = precisionOf([SIRSTV]);

  it('has the certified mean squares', () => {
    expect(found.between!.freedom).toBe(4);
    expect(found.within!.freedom).toBe(20);
    // certified to ten digits and more
    expect(found.between!.value).toBeCloseTo(0.0127865654, 10);
    expect(found.within!.value).toBeCloseTo(0.010831828, 10);
  });

  it('has the repeatability and reproducibility that follow by ISO 5725-2', () => {
    expect(found.repeatability!.value).toBeCloseTo(0.1040761, 7);
    expect(found.perInstrument).toBeCloseTo(5, 12);
    // by hand: s_L² = (0.0127865654 − 0.010831828) / 5, s_R² = s_L² + s_r²
    expect(found.betweenInstruments! ** 2).toBeCloseTo(0.00039094748, 10);
    expect(found.reproducibility!.value ** 2).toBeCloseTo(0.01122277548, 10);
    expect(found.repeatability!.limit).toBeCloseTo(2.8 * 0.1040761, 6);
  });

  it('has the interval of χ² with 20 degrees of freedom, from standard tables: 9.591 and 34.170', () => {
    const square = 20 * 0.010831828;
    expect(found.repeatability!.low).toBeCloseTo(Math.sqrt(square / 34.1696), 5);
    expect(found.repeatability!.high).toBeCloseTo(Math.sqrt(square / 9.59078), 5);
  });
});
