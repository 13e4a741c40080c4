import {
  numbersFrom,
  recallEach,
  type Board,
  type BoardReading,
  type MemoryState,
} from '../protocol/board.ts';
import type { UnreadableReading } from '../records/entries.ts';
import { surveyCsv } from '../records/survey-csv.ts';
import { atBoard, Stopped, type LinkOptions, type Workplace } from './board-link.ts';
import { readBytes, writeNew } from './files.ts';
import { isOfTheLink, linkAgain, throughBreaks } from './link-again.ts';
import { notInFile, writeMemory } from './memory-file.ts';
import { failed, type Outcome } from './outcome.ts';

export interface MemoryOptions {
  /** Readings file that gets all that is in the memory. */
  out?: string;
  /** File that gets the board's own angles and ranges. */
  survey?: string;
  /** The board may forget what is in the readings file. */
  erase: boolean;
}

/** `memory`: what is in a board's memory: listed, downloaded, and let go once it is on disk. */
export const memory = (options: LinkOptions & MemoryOptions): Promise<Outcome> =>
  atBoard(options, (place) => memoryAt(place, options));

export async function memoryAt(
  place: Workplace,
  { out, survey, erase }: MemoryOptions,
): Promise<Outcome> {
  const { say } = place;
  const first = await place.link();
  const { board, value } = await download(place, first);
  const { state, readings } = value;
  say(stateWords(state));
  if (state.count === 0) return { code: 0, out: 'There is nothing to fetch. Nothing was changed.\n' }; // prettier-ignore
  const lacking = lackingWords(value);
  for (const words of lacking) say(words);
  if (out === undefined && survey === undefined) return { code: 0, out: table(readings) };
  if (survey !== undefined) {
    write(survey, surveyCsv(board.identity, readings));
    const without = readings.filter(({ inclination }) => inclination === undefined).length;
    const but = without === 0 ? '' : `; ${without} of them without angles, taken before the board had coefficients`; // prettier-ignore
    say(`Saved in ${survey}: the board’s own angles of ${readings.length} readings${but}.`);
  }
  if (out === undefined) return kept(lacking);
  write(out, writeMemory(board.identity, readings));
  const back = readBytes(out);
  const why = back.ok ? notInFile(back.bytes, readings) : back.message;
  if (why !== undefined) {
    return failed(`${out}: ${why} The board keeps its readings. Save them elsewhere.`);
  }
  say(`Saved in ${out}: ${readings.length} readings, read back and compared.`);
  if (!erase) return kept(lacking);
  if (lacking.length > 0) {
    return failed(
      'The board keeps all its readings, because some of them could not be saved. Nothing on it was changed.',
    );
  }
  return forget(place, board, state);
}

function kept(lacking: readonly string[]): Outcome {
  const out = 'The readings are still on the board too. Nothing on it was changed.\n';
  return lacking.length === 0 ? { code: 0, out } : { code: 1, out, err: `${lacking.join('\n')}\n` };
}

/** @throws Stopped */
function write(path: string, text: string): void {
  const written = writeNew(path, text);
  if (!written.ok) {
    throw new Stopped(`${written.message} Nothing on the board was changed. Give another name.`);
  }
}

interface Downloaded {
  state: MemoryState;
  readings: readonly BoardReading[];
  unreadable: readonly UnreadableReading[];
}

/** Fetches every reading once, over a new link where one is lost: it goes on with the one that did not come. */
async function download(
  place: Workplace,
  first: Board,
): Promise<{ board: Board; value: Downloaded }> {
  const readings: BoardReading[] = [];
  const unreadable: UnreadableReading[] = [];
  let state: MemoryState | undefined;
  let next = 0;
  const numbers = function* ({ first: from, last, count }: MemoryState) {
    for (next = Math.max(next, from); next <= last; next++) {
      const done = readings.length + unreadable.length;
      if (done > 0 && done % 25 === 0) place.say(`Fetching: ${done} of ${count}`);
      yield next;
    }
  };
  return throughBreaks(
    place,
    first,
    async (board) => {
      state ??= await board.memory(place.signal); // what lands later is not asked for, and not erased
      if (state.count > 0) {
        const note = (reading: number, error: Error) =>
          unreadable.push({ reading, reason: error.message });
        for await (const reading of recallEach(board, numbers(state), note, place.signal)) {
          readings.push(reading);
        }
      }
      return { state, readings, unreadable };
    },
    () => next,
  );
}

function stateWords({ first, last, count, room, dropped }: MemoryState): string {
  const fell =
    dropped === 0 ? '' : ` ${dropped} fell out of it before anyone said that they were saved.`;
  return count === 0
    ? `The board’s memory is empty, with room for ${room} readings.${fell}`
    : `The board’s memory holds ${count} readings, ${first} to ${last}, and has room for ${room} more.${fell}`;
}

/** What of the memory could not be had, a sentence each. */
function lackingWords({ state, readings, unreadable }: Downloaded): string[] {
  const here = new Set([...readings, ...unreadable].map(({ reading }) => reading));
  const words = unreadable.map(
    ({ reading, reason }) => `Reading ${reading} makes no sense and is not among them: ${reason}`,
  );
  if (here.size >= state.count) return words;
  const gaps = [...numbersFrom(state.first, state.last)].filter((number) => !here.has(number));
  return [
    ...words,
    `The board counts ${state.count} readings and gave ${here.size}; it says that it does not hold ${gaps.join(', ')}.`,
  ];
}

const HEAD = ['reading', 'generation', 'azimuth', 'inclination', 'roll', 'range', 'temperature'];

function table(readings: readonly BoardReading[]): string {
  const figure = (value: number | undefined, decimals: number, unit: string) =>
    value === undefined ? '' : `${value.toFixed(decimals)}${unit}`;
  const rows = readings.map((each) => [
    ...[String(each.reading), String(each.generation)],
    ...[each.azimuth, each.inclination, each.roll].map((angle) => figure(angle, 2, '°')),
    figure(each.range, 3, ' m'),
    figure(each.temperature, 1, ' °C'),
  ]);
  const all = [HEAD, ...rows];
  const widths = HEAD.map((_, i) => Math.max(...all.map((row) => row[i]!.length)) + 2);
  return all.map((row) => `${row.map((cell, i) => cell.padStart(widths[i]!)).join('')}\n`).join('');
}

/** Lets the board forget readings that are on disk, by the number of the last; looks where the answer is lost. */
async function forget(place: Workplace, board: Board, { last }: MemoryState): Promise<Outcome> {
  const done = { code: 0 as const, out: `The board has forgotten its readings up to ${last}, which are in the file.\n` }; // prettier-ignore
  try {
    await board.erase(last);
    return done;
  } catch (error) {
    if (!isOfTheLink(error)) throw error;
    place.say(`${error.message}\nLooking what the board still holds …`);
  }
  const again = await linkAgain(place, board.identity.serial);
  const { first, count } = await again.memory(place.signal);
  if (count === 0 || first > last) return done;
  return failed(
    `The board did not erase: it still holds its readings, and they are in the file too. “save --make-room”, or this command with another name, does it again.`,
  );
}
