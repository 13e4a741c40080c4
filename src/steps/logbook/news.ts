import type { Logbook } from '../../records/logbook.ts';

/** What the pages of this program tell each other: of which boards one of them has written to the logbook. */
export interface News {
  /** Tells all other pages. @param boards serial numbers */
  tell(boards: readonly string[]): void;
  /** Calls `listener` whenever another page tells. */
  onNews(listener: (boards: readonly string[]) => void): void;
}

/** News by the browser's own channel between the pages of one origin. */
export function broadcastNews(): News {
  const channel = new BroadcastChannel('lodebench');
  return {
    tell: (boards) => channel.postMessage(boards),
    onNews: (listener) => {
      channel.addEventListener('message', ({ data }: MessageEvent<readonly string[]>) =>
        listener(data),
      );
    },
  };
}

/**
 * The same logbook; whenever something was written to it, and is safe, it is told.
 *
 * @param wrote told of which boards entries were written, and whether here or brought in from elsewhere
 */
export function toldOf(
  logbook: Logbook,
  wrote: (boards: readonly string[], how: 'appended' | 'merged') => void,
): Logbook {
  const after = async <T extends { ok: boolean }>(
    writing: Promise<T>,
    how: 'appended' | 'merged',
    entries: readonly { board: string }[],
  ): Promise<T> => {
    const written = await writing;
    if (written.ok) wrote([...new Set(entries.map(({ board }) => board))], how);
    return written;
  };
  return {
    ok: true,
    bench: logbook.bench,
    append: (...entries) => after(logbook.append(...entries), 'appended', entries),
    merge: (entries) =>
      after(
        logbook.merge(entries),
        'merged',
        entries.map(({ entry }) => entry),
      ),
    entriesOfBoard: (board) => logbook.entriesOfBoard(board),
    batches: (board) => logbook.batches(board),
    boards: () => logbook.boards(),
    boardsInShort: () => logbook.boardsInShort(),
    highestNumber: () => logbook.highestNumber(),
    keep: (key, value) => logbook.keep(key, value),
    kept: (key) => logbook.kept(key),
    close: () => logbook.close(),
  };
}
