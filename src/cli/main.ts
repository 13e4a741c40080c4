import { parseArgs } from 'node:util';
import type { ToleranceChoice } from '../records/entries.ts';
import { parseMountings, type Mountings } from '../steps/fit-file.ts';
import {
  ORDINARY_TOLERANCE,
  OWN_TOLERANCE,
  parseTolerance,
  SURVEY_GRADES,
} from '../steps/tolerance.ts';
import { apply } from './apply.ts';
import { boardCommand } from './board-commands.ts';
import { course } from './course.ts';
import { sameFile } from './files.ts';
import { fit } from './fit.ts';
import { header } from './header.ts';
import { image } from './image.ts';
import { next } from './next.ts';
import { UsageError, type Outcome } from './outcome.ts';
import { COMMAND_NAMES, USAGE, usageOf } from './usage.ts';

/** The command line: the bench's steps without a browser, from files and at a board. */

const SHORT_USAGE = `Usage: npm run -s cli -- COMMAND …
  COMMAND is one of ${COMMAND_NAMES.join(', ')}.
  COMMAND --help says how it is used, and --help says it of all.
`;

function run(args: readonly string[]): Outcome | Promise<Outcome> {
  const [command, ...rest] = args;
  if (command !== undefined && asksForHelp(rest)) {
    const usage = usageOf(command);
    if (usage !== undefined) return { code: 0, out: usage };
  }
  switch (command) {
    case 'fit':
      return runFit(rest);
    case 'next':
      return runNext(rest);
    case 'apply':
      return runApply(rest);
    case 'course':
      return runCourse(rest);
    case 'header':
      return runHeader(rest);
    case 'image':
      return runImage(rest);
    case '--help':
    case '-h':
    case 'help':
      return { code: 0, out: (rest[0] !== undefined && usageOf(rest[0])) || USAGE };
    case undefined:
      throw new UsageError('a command is missing');
    default: {
      const atBoard = boardCommand(command);
      if (atBoard) return atBoard(rest);
      throw new UsageError(`there is no command '${command}'`);
    }
  }
}

/** Whether help stands among the options, and not behind what ends them. */
function asksForHelp(args: readonly string[]): boolean {
  const end = args.indexOf('--');
  const options = end < 0 ? args : args.slice(0, end);
  return options.includes('--help') || options.includes('-h');
}

function runFit(args: string[]): Outcome {
  const { values, positionals } = parse(args, {
    out: { type: 'string' },
    json: { type: 'boolean' },
    mounting: { type: 'string' },
    'keep-all': { type: 'boolean' },
    model: { type: 'string' },
    tolerance: { type: 'string' },
    against: { type: 'string' },
    from: { type: 'string' },
    offsets: { type: 'boolean' },
  });
  const readings = onlyReadings('fit', positionals);
  const { out, model, against, from } = values as Partial<Record<string, string>>;
  if (!out) throw new UsageError('--out is missing: say where the coefficients go');
  if (sameFile(readings, out)) {
    throw new UsageError('--out names the file of readings, which would be lost');
  }
  if (model !== undefined && model !== 'straight' && model !== 'bowed') {
    throw new UsageError(`--model is straight or bowed, not '${model}'`);
  }
  const offsets = values.offsets === true;
  if (offsets !== (from !== undefined)) {
    throw new UsageError(
      '--from and --offsets go together: the offsets alone, all else from a file',
    );
  }
  const whole = ['mounting', 'keep-all', 'model', 'against'].filter((name) => name in values);
  if (offsets && whole.length > 0) {
    throw new UsageError(`--${whole[0]} has no meaning where the offsets alone are fitted`);
  }
  if (from !== undefined && sameFile(from, out)) {
    throw new UsageError(
      '--out names the file of --from: keep the calibration before, and give another name',
    );
  }
  return fit({
    readings,
    out,
    json: values.json === true,
    keepAll: values['keep-all'] === true,
    tolerance: toleranceIn(values),
    ...mountingIn(values),
    ...(model && { model }),
    ...(against !== undefined && { against }),
    ...(from !== undefined && { offsetsFrom: from }),
  });
}

function runNext(args: string[]): Outcome {
  const { values, positionals } = parse(args, {
    json: { type: 'boolean' },
    mounting: { type: 'string' },
    wanted: { type: 'string' },
  });
  const readings = onlyReadings('next', positionals);
  const given = values.wanted as string | undefined;
  const wanted = Number(given ?? '0.1');
  if (given?.trim() === '' || !(wanted >= 0.001 && wanted <= 10)) {
    throw new UsageError(`--wanted is a standard error from 0.001 to 10 degrees, not '${given}'`);
  }
  return next({ readings, wanted, json: values.json === true, ...mountingIn(values) });
}

function runCourse(args: string[]): Outcome {
  const { values, positionals } = parse(args, {
    json: { type: 'boolean' },
    ...{ legs: { type: 'string' }, clean: { type: 'string' }, 'zero-mean': { type: 'boolean' } },
    ...{ 'known-to': { type: 'string' }, reference: { type: 'string' }, right: { type: 'string' } },
    ...{ tolerance: { type: 'string' }, declination: { type: 'string' } },
    ...{ place: { type: 'string' }, day: { type: 'string' }, convergence: { type: 'string' } },
  });
  if (positionals.length !== 1) throw new UsageError('course takes one file of shots');
  const given = values as Partial<Record<string, string>>;
  const { legs, clean, reference, day } = given;
  const isMean = values['zero-mean'] === true;
  if (clean !== undefined && isMean) {
    throw new UsageError('--clean and --zero-mean are two ways to say the same: give one');
  }
  const sigma = degreesIn('--known-to', given['known-to'], 0, 10) ?? 0.1;
  const right = degreesIn('--right', given['right'], 0, 10);
  if (right !== undefined && reference === undefined) {
    throw new UsageError('--right says how right the instrument of --reference is: name that too');
  }
  const known = pairIn('--declination', given['declination'], [-180, 180], [0, 45]);
  const place = placeIn(given['place']);
  if ((place === undefined) !== (day === undefined)) {
    throw new UsageError('--place and --day go together: the declination there on that day');
  }
  if (known && place) {
    throw new UsageError('--declination and --place both say the declination: give one');
  }
  const isDay =
    day === undefined ||
    (/^\d{4}-\d\d-\d\d$/.test(day) && !Number.isNaN(Date.parse(`${day}T12:00:00Z`)));
  if (!isDay) throw new UsageError(`--day is a day such as 2031-05-12, not '${day}'`);
  const convergence = degreesIn('--convergence', given['convergence'], -45, 45);
  return course({
    shots: positionals[0]!,
    json: values.json === true,
    ...(legs !== undefined && { legs }),
    stations:
      clean !== undefined
        ? { clean: clean.split(',').map((name) => name.trim()), sigma }
        : isMean
          ? { zeroMean: sigma }
          : 'nothing said',
    ...(reference !== undefined && {
      reference: { name: reference, ...(right !== undefined && { asRight: right }) },
    }),
    tolerance: degreesIn('--tolerance', given['tolerance'], 0.01, 10) ?? 0.5,
    ...(known && { declination: { degrees: known[0], sigma: known[1], model: 'what was given' } }),
    ...(place && day !== undefined && { at: { place, day } }),
    ...(convergence !== undefined && { convergence }),
  });
}

/** @throws UsageError where it is no number from `least` to `most` */
function degreesIn(
  option: string,
  given: string | undefined,
  least: number,
  most: number,
): number | undefined {
  if (given === undefined) return undefined;
  const value = given.trim() === '' ? NaN : Number(given);
  if (value >= least && value <= most) return value;
  throw new UsageError(`${option} is a number from ${least} to ${most}, not '${given}'`);
}

function pairIn(
  option: string,
  given: string | undefined,
  first: readonly [number, number],
  second: readonly [number, number],
): readonly [number, number] | undefined {
  if (given === undefined) return undefined;
  const [a, b, ...more] = given.split(',');
  if (b === undefined || more.length > 0) {
    throw new UsageError(`${option} is two numbers with a comma between, not '${given}'`);
  }
  return [degreesIn(option, a, ...first)!, degreesIn(option, b, ...second)!];
}

function placeIn(given: string | undefined) {
  if (given === undefined) return undefined;
  const [latitude, longitude, height, ...more] = given.split(',');
  if (longitude === undefined || more.length > 0) {
    throw new UsageError(
      `--place is latitude,longitude or latitude,longitude,height, not '${given}'`,
    );
  }
  return {
    latitude: degreesIn('--place', latitude, -90, 90)!,
    longitude: degreesIn('--place', longitude, -180, 180)!,
    height: degreesIn('--place', height, -500, 9000) ?? 0,
  };
}

type Values = ReturnType<typeof parse>['values'];

function onlyReadings(command: string, positionals: readonly string[]): string {
  if (positionals.length !== 1) throw new UsageError(`${command} takes one file of readings`);
  return positionals[0]!;
}

function mountingIn(values: Values): { mounting?: Mountings } {
  const given = values.mounting as string | undefined;
  if (given === undefined) return {};
  const mounting = parseMountings(given);
  if (mounting) return { mounting };
  throw new UsageError(
    `--mounting '${given}' does not say for both chips which axis lies where, each once, such as acc=+x-y-z,mag=+y+x-z`,
  );
}

function toleranceIn(values: Values): ToleranceChoice {
  const given = values.tolerance as string | undefined;
  if (given === undefined) return ORDINARY_TOLERANCE;
  const tolerance = parseTolerance(given);
  if (tolerance) return tolerance;
  const { least, most } = OWN_TOLERANCE;
  throw new UsageError(
    `--tolerance '${given}' is neither ${SURVEY_GRADES.map(({ grade }) => `grade-${grade}`).join(', ')} nor a number of degrees from ${least} to ${most}`,
  );
}

function runApply(args: string[]): Outcome {
  const { positionals } = parse(args, {});
  if (positionals.length !== 2) {
    throw new UsageError('apply takes a file of coefficients and a file of readings');
  }
  return apply(positionals[0], positionals[1]);
}

function runHeader(args: string[]): Outcome {
  const { values, positionals } = parse(args, {
    out: { type: 'string' },
    board: { type: 'string' },
  });
  if (positionals.length !== 1) throw new UsageError('header takes one file of coefficients');
  const { out, board } = values as Partial<Record<string, string>>;
  if (!out) throw new UsageError('--out is missing: say where the header goes');
  return header({ coefficients: positionals[0]!, out, ...(board !== undefined && { board }) });
}

function runImage(args: string[]): Promise<Outcome> {
  const { values, positionals } = parse(args, {
    ...{ hardware: { type: 'string' }, version: { type: 'string' }, out: { type: 'string' } },
    ...{ sign: { type: 'string' }, 'resets-settings': { type: 'boolean' } },
    'replaces-coefficients': { type: 'boolean' },
  });
  const [program, ...more] = positionals;
  if (program === undefined || more.length > 0) throw new UsageError('image takes one program');
  const { hardware, version, out, sign } = values as Partial<Record<string, string>>;
  if (!hardware || !version || !out) {
    throw new UsageError('image needs --hardware, --version and --out');
  }
  return image({
    ...{ program, hardware, version, out },
    ...(sign !== undefined && { sign }),
    resetsSettings: values['resets-settings'] === true,
    replacesCoefficients: values['replaces-coefficients'] === true,
  });
}

type Options = NonNullable<NonNullable<Parameters<typeof parseArgs>[0]>['options']>;

function parse(args: string[], options: Options) {
  try {
    return parseArgs({ args, options, allowPositionals: true });
  } catch (error) {
    if (error instanceof TypeError) throw new UsageError(error.message);
    throw error;
  }
}

async function outcomeOf(args: readonly string[]): Promise<Outcome> {
  try {
    return await run(args);
  } catch (error) {
    if (!(error instanceof UsageError)) throw error;
    // The reason comes last, where it is not buried.
    const usage = usageOf(args[0] ?? '') ?? SHORT_USAGE;
    return { code: 2, err: `${usage}\n${error.message}\n` };
  }
}

const { code, out, err } = await outcomeOf(process.argv.slice(2));
if (out) process.stdout.write(out);
if (err) process.stderr.write(err);
process.exitCode = code;
