import type { Board } from '../protocol/board.ts';
import type { Entry } from '../records/entries.ts';
import { boardFacts } from '../steps/board-words.ts';
import { afterEntry, EMPTY_HISTORY } from '../steps/calibration-state.ts';
import { setsOn } from '../steps/saving.ts';
import { atBoard, type LinkOptions } from './board-link.ts';

/** `identify`: what a board is, and what is on it. Nothing on it is changed. */
export function identify(options: LinkOptions & { json: boolean }) {
  return atBoard(options, async ({ link, signal }) => {
    const board = await link();
    const memory = await board.memory(signal);
    const sets = await setsOn(board, signal);
    const out = options.json
      ? `${JSON.stringify({ ...board.identity, memory, sets: generations(sets) }, null, 2)}\n`
      : await facts(board, memory, sets);
    return { code: 0, out };
  });
}

type Sets = Awaited<ReturnType<typeof setsOn>>;

const generations = (sets: Sets) =>
  Object.fromEntries(
    Object.entries(sets).map(([which, { generation, model, crc }]) => [
      which,
      { generation, model, crc },
    ]),
  );

/** The same facts as the bench shows, but for what only a logbook has. */
async function facts(
  { identity }: Board,
  memory: Awaited<ReturnType<Board['memory']>>,
  sets: Sets,
): Promise<string> {
  const stamp = { board: identity.serial, time: new Date().toISOString() };
  const entries: Entry[] = [
    { ...stamp, kind: 'board linked', identity, link: '' },
    { ...stamp, kind: 'coefficients saved', ...sets },
    { ...stamp, kind: 'memory saved', memory, readings: [] },
  ];
  const rows = boardFacts(entries.reduce(afterEntry, EMPTY_HISTORY)).filter(
    ({ name }) => !name.includes('logbook'),
  );
  const width = Math.max(...rows.map(({ name }) => name.length)) + 2;
  return rows.map(({ name, value }) => `${name.padEnd(width)}${value}\n`).join('');
}
