import { dirname, join } from 'node:path';
import {
  applyCoefficients,
  coefficientsFrom,
  coefficientValues,
  type Coefficients,
} from '../calib/model.ts';
import { sealOutcome, type Board } from '../protocol/board.ts';
import type { CoefficientSet } from '../protocol/coefficient-set.ts';
import { ProtocolError } from '../protocol/errors.ts';
import { readCoefficients } from '../records/coefficients-file.ts';
import { readSavedBoard, type SavedBoard } from '../records/saved-board.ts';
import { compareBits } from '../steps/calibration-state.ts';
import { setsOn } from '../steps/saving.ts';
import { atBoard, Stopped, type LinkOptions, type Workplace } from './board-link.ts';
import { readBytes } from './files.ts';
import { notCoefficients } from './input-files.ts';
import { failed, type Outcome } from './outcome.ts';
import { saveTo } from './save.ts';

/** Changing what a board runs, with all that is on it saved first and read back afterwards. */

export interface ChangeOptions extends LinkOptions {
  /** Where all that is on the board is saved first; a name of its own unless told. */
  save?: string;
}

/** How far from one the length of gravity may come out on a board held still, before coefficients look like another's. */
const GRAVITY_OFF = 0.03;

const CAUTION =
  'Magnetic heading alone must not be relied on where an error can hurt someone; for survey, local rules and qualified surveyors decide. The calibration holds only for the battery, housing and temperature it was made with.';

export interface WantedSet {
  set: CoefficientSet;
  coefficients: Coefficients;
  /** Whether it comes from a file of a board's content. */
  wasSaved: boolean;
}

/**
 * The set in a coefficients file as a board keeps it, or the one that was in force in a file of a board's content.
 *
 * @throws Stopped
 */
export function setIn(path: string): WantedSet {
  const file = readBytes(path);
  if (!file.ok) throw new Stopped(file.message);
  const read = readCoefficients(file.bytes);
  if (!read.ok && read.cause === 'wrong_type') {
    const board = readSavedBoard(file.bytes);
    if (board.ok) return setOf(board.saved, path);
  }
  if (!read.ok) throw new Stopped(notCoefficients(path, file.bytes, read).message);
  const { coefficients } = read;
  return {
    set: { model: coefficients.model, values: coefficientValues(coefficients) },
    coefficients,
    wasSaved: false,
  };
}

function setOf({ inForce }: SavedBoard, path: string): WantedSet {
  if (!inForce) {
    throw new Stopped(
      `${path} holds what was on a board when it was saved, and the board had no coefficients then. Nothing was changed. Give the file that “fit” wrote.`,
    );
  }
  const { model, values } = inForce;
  return { set: { model, values }, coefficients: coefficientsFrom(model, values), wasSaved: true };
}

/** `seal`: a file's coefficients onto a board, in one step that can be taken back. */
export function seal(options: ChangeOptions & { coefficients: string }): Promise<Outcome> {
  return atBoard(options, async (place) => {
    const { set, coefficients } = setIn(options.coefficients);
    const board = await place.link();
    const { inForce } = await setsOn(board, place.signal);
    if (inForce && compareBits(inForce, set).equal) {
      return {
        code: 0,
        out: `The board runs these coefficients already, as generation ${inForce.generation}. Nothing was changed.\n`,
      };
    }
    await warnOfOthers(board, coefficients, place);
    await saveFirst(options, dirname(options.coefficients), board, place);
    const replaces = inForce?.generation ?? 0;
    const crc = await board.stage(set);
    place.say(`Staged and checked: ${crc}.`);
    const how = { verb: 'seal' as const, replaces, crc };
    const now = await carriedOut(how, () => board.seal(replaces, crc), board, place);
    return readBack(now, set, replaces, {
      done: `Sealed as generation ${replaces + 1}, and read back: every bit is as in ${options.coefficients}.`,
      back:
        replaces === 0
          ? 'There was no set before it to go back to.'
          : `Generation ${replaces} stays on the board: “revert” puts it in force again.`,
      next: `Next, see that the board applies them: npm run -s cli -- verify ${options.port} ${options.coefficients}\n${CAUTION}`,
    });
  });
}

/** `revert`: the coefficients before, in force again. */
export function revert(options: ChangeOptions): Promise<Outcome> {
  return atBoard(options, async (place) => {
    const board = await place.link();
    const { inForce, previous } = await setsOn(board, place.signal);
    if (!inForce) return failed('The board has no coefficients in force. Nothing was changed.');
    if (!previous) {
      return failed(
        `The board has no coefficients before those in force, generation ${inForce.generation}. Nothing was changed.`,
      );
    }
    await saveFirst(options, process.cwd(), board, place);
    const replaces = inForce.generation;
    const how = { verb: 'revert' as const, replaces, crc: previous.crc };
    const now = await carriedOut(how, () => board.revert(replaces), board, place);
    return readBack(now, previous, replaces, {
      done: `The coefficients of generation ${previous.generation} are in force again, as generation ${replaces + 1}, and every bit is as it was.`,
      back: `Those of generation ${replaces} stay on the board: “revert” once more puts them in force again.`,
    });
  });
}

/** Coefficients of another board show where gravity does not come out at its length. The board may just be moving. */
async function warnOfOthers(
  board: Board,
  coefficients: Coefficients,
  { say, signal }: Workplace,
): Promise<void> {
  const { acc, mag } = await board.sense(signal);
  const { gravity } = applyCoefficients(coefficients, acc, mag);
  if (Math.abs(gravity - 1) <= GRAVITY_OFF) return;
  say(
    `With these coefficients the length of gravity comes to ${gravity.toFixed(3)} on this board, not 1. If it was held still they may be another board’s: then use “revert” after this.`,
  );
}

/** @param folder where the file goes that was given no name */
async function saveFirst(
  options: ChangeOptions,
  folder: string,
  board: Board,
  place: Workplace,
): Promise<void> {
  const moment = new Date().toISOString().replace(/[-:]|\.\d+/g, '');
  const serial = board.identity.serial.replace(/[^A-Za-z0-9-]/g, '_');
  await saveTo(options.save ?? join(folder, `board-${serial}-${moment}.json`), board, place);
}

/**
 * Carries out a change whose answer may be lost; resolves with the board, over a new link where the old one failed, once
 * it is known that the change was made.
 *
 * @throws Stopped where it was not, or where that cannot be known now; ProtocolError where the board refused
 */
async function carriedOut(
  { verb, replaces, crc }: { verb: 'seal' | 'revert'; replaces: number; crc: string },
  act: () => Promise<number>,
  board: Board,
  place: Workplace,
): Promise<Board> {
  try {
    await act();
    return board;
  } catch (error) {
    if (!(error instanceof ProtocolError) || error.cause === 'refused') throw error;
    place.say(`${error.message}\nLooking what the board runs …`);
  }
  const [before, after] = [`generation ${replaces}`, `generation ${replaces + 1}`];
  let outcome: Awaited<ReturnType<typeof sealOutcome>>;
  let again: Board;
  try {
    again = await place.link();
    outcome = await sealOutcome(again, replaces, crc);
  } catch (error) {
    if (!(error instanceof ProtocolError)) throw error;
    throw new Stopped(
      `${error.message}\nWhether the ${verb} was carried out is not known: the board runs ${before} as before, or ${after}, never a mixture. What was on it is saved. When it can be linked, “identify” shows which.`,
    );
  }
  if (outcome === 'sealed') return again;
  throw new Stopped(
    outcome === 'unchanged'
      ? `The ${verb} was not carried out: the board runs ${before}, as before. Run the same command again.`
      : `The board runs neither ${before} nor what was to follow it: someone else wrote to it. What was on it before is saved. Look at what it runs (“identify”) before you use it.`,
  );
}

async function readBack(
  board: Board,
  wanted: CoefficientSet,
  replaces: number,
  words: { done: string; back: string; next?: string },
): Promise<Outcome> {
  const held = await board.coefficients('in_force');
  const bits = held && compareBits(held, wanted);
  if (!bits?.equal || held?.generation !== replaces + 1) {
    const found = bits ? `${bits.different} of ${bits.numbers} numbers differ` : 'there are none';
    return failed(
      `What the board runs is not what was to be in force (${found}). Do not use it before you know why; “revert” puts the set before in force again.`,
    );
  }
  const lines = [words.done, words.back, ...(words.next === undefined ? [] : [words.next])];
  return { code: 0, out: `${lines.join('\n')}\n` };
}
