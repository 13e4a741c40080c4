import { readSettings } from '../protocol/board-care.ts';
import type { Board } from '../protocol/board.ts';
import { writeSavedBoard, type FirmwareChange, type SavedBoard } from '../records/saved-board.ts';
import { fetchReadings } from '../steps/board-memory.ts';
import { setsOn } from '../steps/saving.ts';
import { atBoard, Stopped, type LinkOptions, type Workplace } from './board-link.ts';
import { writeNew } from './files.ts';

/**
 * `save`: everything that is on a board, into one file.
 *
 * @param options `makeRoom`: once the file is on disk, the board may forget the readings in it
 */
export function save(options: LinkOptions & { out: string; makeRoom: boolean }) {
  return atBoard(options, async ({ link, signal, say }) => {
    const board = await link();
    const saved = await saveTo(options.out, board, { signal, say });
    if (options.makeRoom) await makeRoom(board, saved, say);
    return { code: 0 };
  });
}

/**
 * Saves all that is on a board; resolves when it is on disk.
 *
 * @param firmwareChange what it is saved for, where it is for that
 * @throws Stopped where the file cannot be written, or is there already; ProtocolError
 */
export async function saveTo(
  path: string,
  board: Board,
  place: Pick<Workplace, 'signal' | 'say'>,
  firmwareChange?: FirmwareChange,
): Promise<SavedBoard> {
  const { say } = place;
  const content = await contentOf(board, place);
  const saved: SavedBoard = { ...content, ...(firmwareChange && { firmwareChange }) };
  const written = writeNew(path, writeSavedBoard(saved));
  if (!written.ok) {
    throw new Stopped(`${written.message} Nothing on the board was changed. Give another name.`);
  }
  const { inForce, previous, readings, unreadable } = saved;
  const sets = [inForce, previous].flatMap((set) => (set ? [`generation ${set.generation}`] : []));
  say(
    `Saved in ${path}: ${readings.length} readings, ${sets.length > 0 ? sets.join(' and ') : 'no coefficients, since it has none'}.`,
  );
  for (const { reading, reason } of unreadable) {
    say(`Reading ${reading} in the board’s memory makes no sense and is not among them: ${reason}`);
  }
  return saved;
}

/** All that is on a board, as it is now. */
export async function contentOf(
  board: Board,
  { signal, say }: Pick<Workplace, 'signal' | 'say'>,
): Promise<SavedBoard> {
  const memory = await board.memory(signal);
  const { readings, unreadable } = await fetchReadings(
    board,
    memory,
    () => true,
    (done, of) => {
      if (done % 25 === 0) say(`Reading the board’s memory: ${done} of ${of}`);
    },
    signal,
  );
  const { identity } = board;
  return {
    savedAt: new Date().toISOString(),
    identity,
    ...(await setsOn(board, signal)),
    memory,
    readings,
    unreadable,
    ...(identity.capabilities.includes('settings') && {
      settings: await readSettings(board, signal),
    }),
  };
}

async function makeRoom(
  board: Board,
  { memory, unreadable }: SavedBoard,
  say: Workplace['say'],
): Promise<void> {
  if (unreadable.length > 0) {
    throw new Stopped(
      'The board keeps its readings, because some of them could not be saved. Nothing on it was changed.',
    );
  }
  if (memory.count === 0) {
    say('The board’s memory was empty already.');
    return;
  }
  const erased = await board.erase(memory.last);
  say(`The board has forgotten ${erased} readings, which are in the file.`);
}
