import { expect, test } from 'vitest';
import {
  failuresAmong,
  fittedBench,
  KINDS,
  rememberingFitter,
  sealAndSighting,
  somewhere,
  wholeCalibration,
} from './broken-work.ts';

/* A sample of tests/long/every-byte.test.ts, which breaks the link at every byte. */

const EACH = 4;

test(`a seal and a sighting are done, or the person is told, wherever the link breaks: ${EACH * KINDS.length} places, each kind of break ${EACH} times`, async () => {
  const from = await fittedBench();
  const bytes = await sealAndSighting(from);
  const breaks = KINDS.flatMap((kind) =>
    Array.from({ length: EACH }, (_, n) => somewhere(bytes, n, kind)),
  );
  expect(await failuresAmong(breaks, (how) => sealAndSighting(from, how))).toEqual([]);
}, 60_000);

test(`so is a whole calibration: ${KINDS.length} places, each kind of break once`, async () => {
  const fitter = rememberingFitter();
  const bytes = await wholeCalibration(fitter);
  const breaks = KINDS.map((kind) => somewhere(bytes, 0, kind));
  expect(await failuresAmong(breaks, (how) => wholeCalibration(fitter, how))).toEqual([]);
}, 60_000);
