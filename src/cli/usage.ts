import { GRADES_SOURCE } from '../steps/tolerance.ts';
import { BOARD_USAGE } from './board-commands.ts';

/** How the command line is used: of all commands, and of each. */

export const USAGE = `Usage:
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

  npm run -s cli -- course SHOTS.csv [--json] [--legs LEGS.csv] [--clean STATION,… | --zero-mean] [--known-to DEGREES]
                    [--reference INSTRUMENT [--right DEGREES]] [--tolerance DEGREES] [--convergence DEGREES]
                    [--declination DEGREES,ERROR | --place LATITUDE,LONGITUDE --day DAY]
      Settles a check course: several instruments have shot its legs, fore and back. Says which instrument is off,
      which station turns the field, and which shots look wrong.
      --legs         what is known of legs: bearings and inclinations, each with its standard uncertainty
      --clean        stations where nothing turns the field; --zero-mean: nothing does on the mean of all stations;
                     --known-to: give or take so much (standard uncertainty; 0.1 without it)
      --reference    an instrument whose shots tell how the field changed with time; --right: it is also taken as
                     right, give or take so much
      --tolerance    what an instrument may be off by (0.5 without it)
      --declination  magnetic from true north, east positive, and its standard error, where a known bearing counts
                     from true or grid north; or --place and --day, from the World Magnetic Model
      --convergence  grid north from true north, east positive, where a known bearing counts from grid north

  npm run -s cli -- header COEFFICIENTS.json --out FILE.h [--board SERIAL]
      For makers: writes the coefficients as a C header (C99), with what the numbers mean in its comment.
      --board      serial number of the board, to be written in

${BOARD_USAGE}
  npm run -s cli -- image PROGRAM --hardware H --version V --out IMAGE [--sign KEY] [--resets-settings]
                    [--replaces-coefficients]
      For makers: wraps a program into an image file, which “firmware” takes.
      --hardware, --version   what a board it fits says in hello, and what it will say as firmware then
      --sign                  file of an Ed25519 private key, PEM
      --resets-settings, --replaces-coefficients
                              what this firmware does once it is confirmed

COMMAND --help says this of one command.
Exit codes: 0 done, 1 the work could not be done (why, on standard error), 2 wrong usage.
File formats: docs/files.md
`;

const HEADING = 'Usage:\n';
const NAME = /^ {2}npm run -s cli -- (\S+)/;

/** Each command's part of the usage; a command may have several. */
const PARTS = USAGE.slice(HEADING.length)
  .split('\n\n')
  .flatMap((text) => {
    const [, name] = NAME.exec(text) ?? [];
    return name === undefined ? [] : [{ name, text }];
  });

const PORT_PART = USAGE.split('\n\n').find((text) => text.startsWith('  PORT is'));

/** Every command, in the order of the usage. */
export const COMMAND_NAMES: readonly string[] = [...new Set(PARTS.map(({ name }) => name))];

/** How one command is used; absent where there is no such command. */
export function usageOf(command: string): string | undefined {
  const parts = PARTS.filter(({ name }) => name === command).map(({ text }) => text);
  if (parts.length === 0) return undefined;
  const ofPort = PORT_PART !== undefined && parts.some((text) => text.includes(' PORT'));
  return `${HEADING}${[...parts, ...(ofPort ? [PORT_PART] : [])].join('\n\n')}\n`;
}
