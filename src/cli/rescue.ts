import { readSavedBoard } from '../records/saved-board.ts';
import {
  examine,
  examineAtSpeeds,
  type KnownCoefficients,
  type RescueFinding,
} from '../steps/rescue.ts';
import { rescueWords } from '../steps/rescue-words.ts';
import { atBoard, linkTo, Stopped, type LinkOptions, type Workplace } from './board-link.ts';
import { readBytes } from './files.ts';
import type { Outcome } from './outcome.ts';

export interface RescueOptions extends LinkOptions {
  /** File of the board's content, by which it is seen whether its coefficients were lost. */
  saved?: string;
  json: boolean;
}

const ORDINARY_SPEED = 115_200;

/** `rescue`: what is the matter with a board that cannot be worked with, and what can be done. It changes nothing. */
export const rescue = (options: RescueOptions): Promise<Outcome> =>
  atBoard(options, (place) => rescueAt(place, options));

async function rescueAt(place: Workplace, options: RescueOptions): Promise<Outcome> {
  const known = options.saved === undefined ? undefined : knownFrom(options.saved);
  const how = {
    clock: place.clock,
    random: Math.random,
    signal: place.signal,
    ...(known && { known }),
    onStep: (words: string) => {
      if (!options.json) place.say(`${words} …`);
    },
  };
  const hasSpeed = !/^(wss?|play):/.test(options.port);
  const given = options.baud ?? ORDINARY_SPEED;
  const found: RescueFinding & { then?: RescueFinding } = hasSpeed
    ? await examineAtSpeeds(
        (baud) => (baud === given ? place.bytes : linkTo({ ...options, baud })),
        given,
        how,
      )
    : await examine(place.bytes, how);
  return rescueOutcome(found, options);
}

/** @throws Stopped */
function knownFrom(path: string): KnownCoefficients {
  const file = readBytes(path);
  if (!file.ok) throw new Stopped(file.message);
  const read = readSavedBoard(file.bytes);
  if (!read.ok) throw new Stopped(`${path}: ${read.message}`);
  const { identity, inForce } = read.saved;
  return { serial: identity.serial, generation: inForce?.generation ?? 0 };
}

/** What was found, for the person or for a program. */
export function rescueOutcome(
  found: RescueFinding & { then?: RescueFinding },
  { port, saved, json }: Pick<RescueOptions, 'port' | 'saved' | 'json'>,
): Outcome {
  const code = ['well', 'no_coefficients'].includes(found.cause) ? 0 : 1;
  if (json) return { code, out: `${JSON.stringify(found, null, 2)}\n` };
  const all = [found, ...(found.then ? [found.then] : [])];
  const out = all.map((each) => text(each, hintsFor(each, port, saved))).join('\n');
  return code === 0 ? { code, out } : { code, out, err: `${rescueWords(found).heading}.\n` };
}

function text(finding: RescueFinding, hints: readonly string[]): string {
  const { heading, happened, safe, next } = rescueWords(finding);
  const steps = [...hints, ...next].map((step, i) => `  ${i + 1}. ${step}`);
  return `${heading}\n${happened}\n${safe}\nWhat can be done, the likeliest first:\n${steps.join('\n')}\n`;
}

/** What this command line can do about it. */
function hintsFor(
  { cause, speed }: RescueFinding,
  port: string,
  saved: string | undefined,
): string[] {
  switch (cause) {
    case 'wrong_speed':
      return [`Give every command at this port --baud ${speed}.`];
    case 'silent':
      return ['A few USB boards say nothing unless --signals is given: try that first.'];
    case 'coefficients_lost':
      return [
        `npm run -s cli -- seal ${port} ${saved ?? 'BOARD.json'} puts back what was in force when that file was saved.`,
      ];
    case 'on_trial':
      return [
        `npm run -s cli -- firmware ${port} IMAGE, with the same image, goes on with it; firmware ${port} --back ends the trial.`,
      ];
    default:
      return [];
  }
}
