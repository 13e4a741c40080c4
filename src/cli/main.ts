import { parseArgs } from 'node:util';
import { parseMountings } from '../steps/fit-file.ts';
import { apply } from './apply.ts';
import { sameFile } from './files.ts';
import { fit } from './fit.ts';
import { UsageError, type Outcome } from './outcome.ts';

/** The command line: fitting and applying coefficients without a browser. */

const USAGE = `Usage:
  npm run -s cli -- fit READINGS.csv --out COEFFICIENTS.json [--json] [--mounting MOUNTING] [--keep-all]
      Fits coefficients to raw readings and judges them.
      --out       where the coefficients go
      --json      print one JSON object in place of the summary
      --mounting  which chip axis lies along body x (along the sight), y (right) and z (down), for each chip,
                  such as acc=+x-y-z,mag=+y+x-z: plus where its counts grow as that body axis turns down
                  (accelerometer) or along the field (magnetometer)
      --keep-all  set no reading aside, however bad it looks

  npm run -s cli -- apply COEFFICIENTS.json READINGS.csv
      Prints id,azimuth,inclination,roll,gravity,field,dip of every reading as CSV (degrees; lengths are one
      where all is well; an angle without meaning is an empty cell).

Exit codes: 0 done, 1 the work could not be done (why, on standard error), 2 wrong usage.
File formats: docs/files.md
`;

function run(args: readonly string[]): Outcome {
  const [command, ...rest] = args;
  switch (command) {
    case 'fit':
      return runFit(rest);
    case 'apply':
      return runApply(rest);
    case '--help':
    case '-h':
    case 'help':
      return { code: 0, out: USAGE };
    case undefined:
      throw new UsageError('a command is missing');
    default:
      throw new UsageError(`there is no command '${command}'`);
  }
}

function runFit(args: string[]): Outcome {
  const { values, positionals } = parse(args, {
    out: { type: 'string' },
    json: { type: 'boolean' },
    mounting: { type: 'string' },
    'keep-all': { type: 'boolean' },
  });
  if (positionals.length !== 1) throw new UsageError('fit takes one file of readings');
  const [readings] = positionals;
  const { out, mounting: given } = values as { out?: string; mounting?: string };
  if (!out) throw new UsageError('--out is missing: say where the coefficients go');
  if (sameFile(readings, out)) {
    throw new UsageError('--out names the file of readings, which would be lost');
  }
  const mounting = given === undefined ? undefined : parseMountings(given);
  if (given !== undefined && !mounting) {
    throw new UsageError(
      `--mounting '${given}' does not say for both chips which axis lies where, each once, such as acc=+x-y-z,mag=+y+x-z`,
    );
  }
  return fit(readings, out, {
    json: values.json === true,
    keepAll: values['keep-all'] === true,
    ...(mounting && { mounting }),
  });
}

function runApply(args: string[]): Outcome {
  const { positionals } = parse(args, {});
  if (positionals.length !== 2) {
    throw new UsageError('apply takes a file of coefficients and a file of readings');
  }
  return apply(positionals[0], positionals[1]);
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

function outcomeOf(args: readonly string[]): Outcome {
  try {
    return run(args);
  } catch (error) {
    if (error instanceof UsageError) return { code: 2, err: `${error.message}\n\n${USAGE}` };
    throw error;
  }
}

const { code, out, err } = outcomeOf(process.argv.slice(2));
if (out) process.stdout.write(out);
if (err) process.stderr.write(err);
process.exitCode = code;
