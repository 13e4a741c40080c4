import { readFileSync } from 'node:fs';
import { parseArgs } from 'node:util';
import { fit } from '../src/calib/fit.ts';
import { mountingMatrix } from '../src/calib/model.ts';
import type { Reading } from '../src/calib/reading.ts';
import type { Evidence } from '../src/calib/start.ts';
import { readingsForFit, readReadings } from '../src/records/readings-csv.ts';
import { AS_BODY, parseMountings, type Mountings } from '../src/steps/fit-file.ts';
import { fromClosedForm, median } from './least-squares.ts';

/**
 * How long a fit of one file of readings takes inside the process: `npm run -s bench:fit -- READINGS.csv`, with
 * `--mounting` as for `fit`.
 */

const USAGE =
  'Usage: npm run -s bench:fit -- READINGS.csv [--mounting acc=+x-y-z,mag=+y+x-z] (files: docs/files.md)';
const WARM_UP = 300;
const REPEATS = 200;

function refuse(code: 1 | 2, message: string): never {
  console.error(message);
  process.exit(code);
}

function wanted(): { path: string; mounting?: Mountings } {
  let given: { values: { mounting?: string }; positionals: string[] };
  try {
    given = parseArgs({ options: { mounting: { type: 'string' } }, allowPositionals: true });
  } catch (error) {
    refuse(2, `${(error as Error).message}\n${USAGE}`);
  }
  const { values, positionals } = given;
  if (positionals.length !== 1) refuse(2, USAGE);
  if (values.mounting === undefined) return { path: positionals[0] };
  const mounting = parseMountings(values.mounting);
  if (!mounting) refuse(2, `--mounting '${values.mounting}' cannot be read\n${USAGE}`);
  return { path: positionals[0], mounting };
}

function bytesOf(path: string): Uint8Array {
  try {
    return readFileSync(path);
  } catch (error) {
    refuse(1, (error as Error).message);
  }
}

const { path, mounting } = wanted();
const file = readReadings(bytesOf(path));
if (!file.ok) refuse(1, `${path}: ${file.message}`);
const given = readingsForFit(file);
const { scales } = file;
const wholeFit = (sit: Mountings | undefined) =>
  fit(given, { ...(scales && { scales }), ...(sit && { mounting: sit }) });
// as the command line does it: where nothing says how the chips sit, their axes are taken for the body's
const open = wholeFit(mounting);
const sit = !open.ok && open.cause === 'ambiguous' && !mounting ? AS_BODY : mounting;
const whole = wholeFit(sit);
if (!whole.ok) refuse(1, `${path}: ${whole.message} ${whole.next}`);

// the same optimum by least squares alone: the readings that were used, the sightings gone by, the noise found
const used = whole.readings.flatMap(({ used, sighting }, i): Reading[] => {
  if (!used) return [];
  const { sighting: _, ...reading } = given[i];
  return [sighting === undefined ? reading : { ...reading, sighting }];
});
const { accScale, magScale, model } = whole.coefficients;
const { acc, mag, aim = 1 } = whole.noise;
const known = {
  scales: { acc: accScale, mag: magScale },
  noise: { acc: acc / accScale, mag: mag / magScale, aim },
};
const evidence: Evidence = {
  azimuths: 'absolute',
  ...(sit && { mounting: { acc: mountingMatrix(sit.acc)!, mag: mountingMatrix(sit.mag)! } }),
};
const summary = fromClosedForm(used, known, evidence);
if (!summary) refuse(1, `${path}: without its bad readings no start is found.`);

/** Milliseconds, median over the repeats. */
const repeated = (run: () => unknown): string => {
  for (let i = 0; i < WARM_UP; i++) run();
  const times = Array.from({ length: REPEATS }, () => {
    const start = performance.now();
    run();
    return performance.now() - start;
  });
  return median(times).toFixed(3);
};
const lines: [name: string, value: string | number][] = [
  ['readings', `${used.length} used of ${given.length}`],
  ['model', model],
  ['least_squares_ms', repeated(() => fromClosedForm(used, known, evidence))],
  ['least_squares_iterations', summary.iterations],
  ['least_squares_stopped', summary.stopped],
  ['weighted_sum_of_squares', (2 * summary.cost).toPrecision(10)],
  [
    'noise',
    `${acc.toPrecision(6)} counts, ${mag.toPrecision(6)} counts${whole.noise.aim === undefined ? '' : `, ${aim.toPrecision(6)} rad of aim`}`,
  ],
  ['whole_answer_ms', repeated(() => wholeFit(sit))],
  ['whole_answer_iterations', whole.iterations],
  [
    'what least_squares_ms times',
    `median of ${REPEATS} runs in this process after ${WARM_UP} to warm up, readings in memory: closed-form start, and least squares from there to the converged optimum, under the noise above (which the whole answer found); the readings used, straight model`,
  ],
  [
    'what whole_answer_ms times',
    'the same way, all readings: closed-form start, least squares with the noise found beside it, bad readings set aside, uncertainty, and the answer read off for every reading',
  ],
];
for (const [name, value] of lines) console.log(`${name}: ${value}`);
