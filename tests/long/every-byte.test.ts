import { describe, expect, test } from 'vitest';
import {
  failuresAmong,
  fittedBench,
  KINDS,
  nameOf,
  rememberingFitter,
  sealAndSighting,
  wholeCalibration,
} from '../faults/broken-work.ts';

/**
 * The link broken at every byte, on the virtual clock, through the steps of the bench. Afterwards what was asked for is
 * done or the person was told; no reading is lost or doubled; the board runs the old coefficients or the new ones.
 */

const HOUR = 3_600_000;
/** A prime, so that it falls in step with no message. */
const STEP = 97;

const fitted = await fittedBench();
const short = await sealAndSighting(fitted);
const fitter = rememberingFitter();
const long = await wholeCalibration(fitter);
const multiples = Math.ceil(long / STEP);

describe(`a seal and a sighting, the link broken at every one of their ${short} bytes`, () => {
  test.each(KINDS.map((kind) => ({ kind, name: nameOf(kind) })))(
    `$name: ${short} cases`,
    async ({ kind }) => {
      const breaks = Array.from({ length: short }, (_, at) => ({ ...kind, at }));
      const failures = await failuresAmong(breaks, (how) => sealAndSighting(fitted, how));
      expect(failures).toEqual([]);
    },
    HOUR,
  );
});

describe(`a whole calibration of ${long} bytes, the link broken at every ${STEP}th`, () => {
  test.each(KINDS.map((kind) => ({ kind, name: nameOf(kind) })))(
    `$name: ${multiples} cases`,
    async ({ kind }) => {
      const breaks = Array.from({ length: multiples }, (_, n) => ({ ...kind, at: n * STEP }));
      const failures = await failuresAmong(breaks, (how) => wholeCalibration(fitter, how));
      expect(failures).toEqual([]);
    },
    HOUR,
  );
});
