import type { Fact } from '../board-words.ts';
import type { BoardInShort } from './logbook-desk.ts';
import { dayWords, timeWords } from '../time-words.ts';

/** What a board is and how much is known of it, from its line in the logbook. */
export function boardFactsInShort(board: BoardInShort): Fact[] {
  const { hardware, since, entries, calibrations, firstTime, lastTime } = board;
  return [
    ...(hardware === undefined ? [] : [{ name: 'Hardware', value: hardware }]),
    ...(since.firmware ? [{ name: 'Firmware', value: since.firmware.version }] : []),
    { name: 'Put in force here last', value: sealedWords(board) },
    { name: 'Proof of that', value: proofInShort(board) },
    { name: 'Calibrations', value: String(calibrations) },
    {
      name: 'In the logbook',
      value: `${entries === 1 ? 'one entry' : `${entries} entries`}, ${dayWords(firstTime)} to ${timeWords(lastTime)}`,
    },
  ];
}

const sealedWords = ({ since: { inForce } }: BoardInShort): string =>
  inForce ? `generation ${inForce.generation}, ${dayWords(inForce.time)}` : 'nothing yet';

function proofInShort({ since, proof }: BoardInShort): string {
  if (!proof) return since.inForce ? 'not taken' : '–';
  return `${proof.passed ? 'passed' : 'not passed'}, ${dayWords(proof.time)}`;
}

/** What the list of all boards says of one beside when to calibrate it again. */
export function boardLine(board: BoardInShort): string {
  const { inForce } = board.since;
  if (!inForce) return `${counted(board.entries)} of it, nothing put in force here`;
  const proof = board.proof ? `proof ${proofInShort(board)}` : 'no proof taken';
  return `Generation ${inForce.generation} since ${dayWords(inForce.time)}, ${proof}`;
}

const counted = (entries: number) => (entries === 1 ? 'One entry' : `${entries} entries`);
