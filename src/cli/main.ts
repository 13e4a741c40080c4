import { parseArgs } from 'node:util';
import type { ToleranceChoice } from '../records/entries.ts';
import { parseMountings, type Mountings } from '../steps/fit-file.ts';
import {
  GRADES_SOURCE,
  ORDINARY_TOLERANCE,
  OWN_TOLERANCE,
  parseTolerance,
  SURVEY_GRADES,
} from '../steps/tolerance.ts';
import { apply } from './apply.ts';
import { BOARD_USAGE, boardCommand } from './board-commands.ts';
import { sameFile } from './files.ts';
import { fit } from './fit.ts';
import { image } from './image.ts';
import { next } from './next.ts';
import { UsageError, type Outcome } from './outcome.ts';

/** The command line: the bench's steps without a browser, from files and at a board. */

const USAGE = `Usage:
  npm run -s cli -- fit READINGS.csv --out COEFFICIENTS.json [--json] [--mounting MOUNTING] [--keep-all]
                    [--model straight|bowed] [--tolerance TOLERANCE] [--against COEFFICIENTS.json]
      Fits coefficients to raw readings and judges them.
      --out        where the coefficients go
      --json       print one JSON object in place of the summary
      --mounting   which chip axis lies along body x (along the sight), y (right) and z (down), for each chip,
                   such as acc=+x-y-z,mag=+y+x-z: plus where its counts grow as that body axis turns down
                   (accelerometer) or along the field (magnetometer)
      --keep-all   set no reading aside, however bad it looks
      --model      which model to fit; without it the one that better predicts sightings left out in turn
      --tolerance  what to judge against: degrees, or grade-3, grade-5 (without it) or grade-6 of the
                   ${GRADES_SOURCE}
      --against    coefficients to compare the new ones with, such as those on the board

  npm run -s cli -- fit READINGS.csv --from COEFFICIENTS.json --offsets --out NEW.json [--json]
                    [--tolerance TOLERANCE]
      Fits the offsets alone again from a few readings, after a battery change, and keeps the rest.

  npm run -s cli -- next READINGS.csv [--wanted DEGREES] [--json] [--mounting MOUNTING]
      Says where to aim next, and how many readings are still needed until the standard error of
      azimuth x cos inclination is as wanted (0.1 degrees without --wanted).

  npm run -s cli -- apply COEFFICIENTS.json READINGS.csv
      Prints id,azimuth,inclination,roll,gravity,field,dip of every reading as CSV (degrees; lengths are one
      where all is well; an angle without meaning is an empty cell). Readings outside what the coefficients
      hold for are named on standard error.

${BOARD_USAGE}
  npm run -s cli -- image PROGRAM --hardware H --version V --out IMAGE [--sign KEY] [--resets-settings]
                    [--replaces-coefficients]
      For makers: wraps a program into an image file, which “firmware” takes.
      --hardware, --version   what a board it fits says in hello, and what it will say as firmware then
      --sign                  file of an Ed25519 private key, PEM
      --resets-settings, --replaces-coefficients
                              what this firmware does once it is confirmed

Exit codes: 0 done, 1 the work could not be done (why, on standard error), 2 wrong usage.
File formats: docs/files.md
`;

function run(args: readonly string[]): Outcome | Promise<Outcome> {
  const [command, ...rest] = args;
  switch (command) {
    case 'fit':
      return runFit(rest);
    case 'next':
      return runNext(rest);
    case 'apply':
      return runApply(rest);
    case 'image':
      return runImage(rest);
    case '--help':
    case '-h':
    case 'help':
      return { code: 0, out: USAGE };
    case undefined:
      throw new UsageError('a command is missing');
    default: {
      const atBoard = boardCommand(command);
      if (atBoard) return atBoard(rest);
      throw new UsageError(`there is no command '${command}'`);
    }
  }
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
    if (error instanceof UsageError) return { code: 2, err: `${error.message}\n\n${USAGE}` };
    throw error;
  }
}

const { code, out, err } = await outcomeOf(process.argv.slice(2));
if (out) process.stdout.write(out);
if (err) process.stderr.write(err);
process.exitCode = code;
