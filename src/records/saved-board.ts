import { coefficientsFrom } from '../calib/model.ts';
import type { BoardIdentity, BoardReading, MemoryState, StoredSet } from '../protocol/board.ts';
import { writeCoefficients } from './coefficients-file.ts';
import type { UnreadableReading } from './entries.ts';

/** All that is on a board as a JSON file (docs/files.md, docs/schemas/board-1.schema.json). */

export interface SavedBoard {
  /** When, ISO 8601 with UTC offset. */
  savedAt: string;
  identity: BoardIdentity;
  /** The sets it keeps, those it has. */
  inForce?: StoredSet;
  previous?: StoredSet;
  memory: MemoryState;
  readings: readonly BoardReading[];
  unreadable: readonly UnreadableReading[];
}

/** Writes such a file. Each set in it is a whole coefficients file, with its generation and CRC beside. */
export function writeSavedBoard(saved: SavedBoard): string {
  const { savedAt, identity, inForce, previous, memory, readings, unreadable } = saved;
  const file = {
    type: 'lodebench.board',
    version: 1,
    savedAt,
    identity,
    coefficients: {
      ...(inForce && { inForce: setToJson(inForce) }),
      ...(previous && { previous: setToJson(previous) }),
    },
    memory,
    readings,
    unreadable,
  };
  return `${JSON.stringify(file, null, 2)}\n`;
}

function setToJson({ generation, crc, model, values }: StoredSet): object {
  const file: unknown = JSON.parse(writeCoefficients(coefficientsFrom(model, values)));
  return { generation, crc, file };
}
