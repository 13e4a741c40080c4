import type { Fact } from '../board-words.ts';
import type { BoardInShort } from './logbook-desk.ts';
import { dayWords, timeWords } from '../time-words.ts';

/** What a board is and how much is known of it, from its line in the logbook. */
export function boardFactsInShort(board: BoardInShort): Fact[] {
  const { hardware, firmware, entries, calibrations, firstTime, lastTime } = board;
  return [
    ...(hardware === undefined ? [] : [{ name: 'Hardware', value: hardware }]),
    ...(firmware === undefined ? [] : [{ name: 'Firmware', value: firmware }]),
    { name: 'Put in force here last', value: sealedWords(board) },
    { name: 'Proof of that', value: proofInShort(board) },
    { name: 'Calibrations', value: String(calibrations) },
    {
      name: 'In the logbook',
      value: `${entries === 1 ? 'one entry' : `${entries} entries`}, ${dayWords(firstTime)} to ${timeWords(lastTime)}`,
    },
  ];
}

const sealedWords = ({ sealed }: BoardInShort): string =>
  sealed ? `generation ${sealed.generation}, ${dayWords(sealed.time)}` : 'nothing yet';

function proofInShort({ sealed, proof }: BoardInShort): string {
  if (!proof) return sealed ? 'not taken' : '–';
  return `${proof.passed ? 'passed' : 'not passed'}, ${dayWords(proof.time)}`;
}

/** What the list of all boards says of one beside when to calibrate it again. */
export function boardLine(board: BoardInShort): string {
  if (!board.sealed) return `${counted(board.entries)} of it, nothing put in force here`;
  const proof = board.proof ? `proof ${proofInShort(board)}` : 'no proof taken';
  return `Generation ${board.sealed.generation} since ${dayWords(board.sealed.time)}, ${proof}`;
}

const counted = (entries: number) => (entries === 1 ? 'One entry' : `${entries} entries`);
