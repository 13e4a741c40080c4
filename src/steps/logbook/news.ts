import type { Logbook } from '../../records/logbook.ts';

/** Of what something was written: boards by serial number, papers by id. */
export interface Written {
  boards: readonly string[];
  papers: readonly string[];
}

/** What the pages of this program tell each other: of what one of them has written to the logbook. */
export interface News {
  /** Tells all other pages. */
  tell(written: Written): void;
  /** Calls `listener` whenever another page tells. */
  onNews(listener: (written: Written) => void): void;
}

/** News by the browser's own channel between the pages of one origin. */
export function broadcastNews(): News {
  // pages of before papers told of boards alone, in another form: they have a channel of their own
  const channel = new BroadcastChannel('lodebench logbook');
  return {
    tell: (written) => channel.postMessage(written),
    onNews: (listener) => {
      channel.addEventListener('message', ({ data }: MessageEvent<Written>) => listener(data));
    },
  };
}

/**
 * The same logbook; whenever something was written to it, and is safe, it is told.
 *
 * @param wrote told of what was written, and whether here or brought in from elsewhere
 */
export function toldOf(
  logbook: Logbook,
  wrote: (written: Written, how: 'appended' | 'merged') => void,
): Logbook {
  const after = async <T extends { ok: boolean }>(
    writing: Promise<T>,
    how: 'appended' | 'merged',
    entries: readonly { board: string }[],
    notes: readonly { paper: string }[] = [],
  ): Promise<T> => {
    const outcome = await writing;
    const boards = [...new Set(entries.map(({ board }) => board))];
    const papers = [...new Set(notes.map(({ paper }) => paper))];
    if (outcome.ok) wrote({ boards, papers }, how);
    return outcome;
  };
  return {
    ok: true,
    bench: logbook.bench,
    append: (...entries) => after(logbook.append(...entries), 'appended', entries),
    merge: (entries, notes) =>
      after(
        logbook.merge(entries, notes),
        'merged',
        entries.map(({ entry }) => entry),
        notes,
      ),
    write: (...notes) => after(logbook.write(...notes), 'appended', [], notes),
    notesOf: (paper) => logbook.notesOf(paper),
    papers: (of) => logbook.papers(of),
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
