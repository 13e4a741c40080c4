import type { Board } from '../protocol/board.ts';
import { lineByHand } from '../protocol/by-hand.ts';
import { BOARD_CODES, codeInWords, ProtocolError, type BoardCode } from '../protocol/errors.ts';
import { parseLine, type Fields, type Line } from '../protocol/line.ts';
import {
  EVENTS,
  isEventKind,
  isVerb,
  VERBS,
  type AnswerOf,
  type RequestOf,
  type SensedReading,
  type Verb,
} from '../protocol/messages.ts';
import type { WireEntry, WireLog } from './wire-log.ts';

/** What a line on the wire says, in words. */

/** The verbs whose messages have more to say than their fields. Of the others the fields are given. */
const ASKED: { [V in Verb]?: (request: RequestOf<V>) => string } = {
  hello: ({ protocol }) => `opens a conversation, in version ${protocol} of the protocol at most`,
  mode: ({ set }) => (set === 'collect' ? 'collect readings from now on' : 'collect no more'),
  sense: () => 'what do the sensors show? (nothing is stored)',
  capture: () => 'take a reading',
  memory: () => 'which readings are in the memory?',
  recall: ({ reading }) => `send reading ${reading} from the memory`,
  erase: ({ through }) => `forget every reading up to ${through}`,
  again: ({ from }) => `send the events from number ${from} again`,
  coefficients: ({ which }) => `send the ${which.replace('_', ' ')} coefficients`,
  stage: ({ model }) => `stage a ${model} set of coefficients`,
  check: ({ crc }) => `is the CRC of what is staged ${crc}?`,
  seal: ({ replaces }) => `seal what is staged, in place of generation ${replaces}`,
  revert: ({ replaces }) => `go back to the set before, from generation ${replaces}`,
};

const ANSWERED: { [V in Verb]?: (answer: AnswerOf<V>) => string } = {
  hello: ({ serial, name, generation }) =>
    `it is ${serial}${name === '' ? '' : `, “${name}”`}, and runs generation ${generation}`,
  mode: ({ mode }) => (mode === 'collect' ? 'it collects readings' : 'it collects none'),
  sense: (reading) => readingWords(reading),
  capture: ({ reading }) => `reading ${reading} was taken`,
  memory: ({ first, last, count, room }) =>
    `${count === 0 ? 'no readings are in it' : `${count} readings, ${first} to ${last}`}; room for ${room} more`,
  recall: (reading) => `reading ${reading.reading}: ${readingWords(reading)}`,
  erase: ({ erased }) => (erased === 1 ? 'one reading is gone' : `${erased} readings are gone`),
  again: ({ from, to }) => (to < from ? 'there are no newer events' : `that were ${from} to ${to}`),
  coefficients: ({ generation, model, crc }) =>
    `${generation === 0 ? 'staged' : `generation ${generation}`}, ${model}, CRC ${crc}`,
  stage: ({ crc }) => `staged, with CRC ${crc}`,
  check: () => 'yes, and it may be sealed now',
  seal: ({ generation }) => `sealed: it runs generation ${generation}`,
  revert: ({ generation }) => `the set before is in force, as generation ${generation}`,
};

/** How far back the request of an answer is looked for: one is asked at a time. */
const FAR = 64;

/** What an entry says, as a clause. Everything in it that came over the wire was checked, or is quoted and cut short. */
export function meaningOf(log: WireLog, entry: WireEntry): string {
  const { times } = entry;
  const words = meaningOfOne(log, entry);
  return times === undefined ? words : `${words} (the latest of ${times} looks in a row)`;
}

function meaningOfOne(log: WireLog, entry: WireEntry): string {
  if (entry.mark === '+') return `the link was opened: ${entry.text}`;
  if (entry.mark === '-') {
    return entry.text === '' ? 'the link was ended here' : `the link ended: ${entry.text}`;
  }
  const line = parseLine(entry.text);
  if (line === 'bad_check') return 'damaged: its check is wrong';
  if (line === 'bad_line') {
    const noise = /\\x[0-9A-F]{2}/.test(entry.text) && entry.mark === '<';
    return `not a line of the protocol${noise ? ', but bytes as noise or a wrong speed gives them' : ''}`;
  }
  if (line.kind === 'request') return requestWords(line);
  if (!line.checked) return 'without a check, so it is passed over';
  return line.kind === 'event' ? eventWords(line) : answerWords(line, requestOf(log, entry, line));
}

function requestWords({ verb, fields, checked }: Line & { kind: 'request' }): string {
  const typed = checked ? '' : 'typed by hand: ';
  if (!isVerb(verb)) return `${typed}${verb}, which this program does not know`;
  const words = ASKED[verb] as ((request: unknown) => string) | undefined;
  return typed + sensible(() => words?.(VERBS[verb].request.read(fields)) ?? plain(verb, fields));
}

function answerWords(line: Line & { kind: 'answer' }, verb: string | undefined): string {
  const { ok, fields } = line;
  if (!ok) {
    const code = fields['code']?.[0] as BoardCode | undefined;
    return code && BOARD_CODES.includes(code)
      ? `no: ${firstSentence(codeInWords(code))}`
      : 'no, with a code that is none of the protocol’s';
  }
  if (verb === undefined || !isVerb(verb)) return plain('done', fields);
  const words = ANSWERED[verb] as ((answer: unknown) => string) | undefined;
  return sensible(() => words?.(VERBS[verb].answer.read(fields)) ?? plain('done', fields));
}

function eventWords({ event, fields }: Line & { kind: 'event' }): string {
  if (!isEventKind(event)) return `an event of a kind this program does not know: ${event}`;
  return sensible(() => {
    switch (event) {
      case 'reading': {
        const reading = EVENTS.reading.read(fields);
        return `reading ${reading.reading}: ${readingWords(reading)}`;
      }
      case 'refused':
        return `the trigger was pressed in vain. ${firstSentence(codeInWords(EVENTS.refused.read(fields).code))}`;
      case 'power':
        return `the supply is low: ${EVENTS.power.read(fields).volt} V`;
    }
  });
}

/**
 * Sends a line that a person typed.
 *
 * @returns what came of it, as a sentence
 */
export async function sendByHand(board: Pick<Board, 'byHand'>, typed: string): Promise<string> {
  const line = lineByHand(typed);
  if (!line.ok) return `Not sent: the line ${line.why}.`;
  try {
    const answer = await board.byHand(typed);
    return `The board answered “${answerWords(answer, line.verb)}”`;
  } catch (error) {
    if (!(error instanceof ProtocolError)) throw error;
    return error.message;
  }
}

/** The verb that an answer belongs to: that of the latest request with its tag. */
function requestOf(
  log: WireLog,
  { number }: WireEntry,
  { tag }: Line & { kind: 'answer' },
): string | undefined {
  for (let at = number - 1; at >= number - FAR; at--) {
    const entry = log.entry(at);
    if (!entry || entry.mark === '+') return undefined;
    const request = entry.mark === '>' ? /^\?(\d+) ([a-z0-9_]+)/.exec(entry.text) : null;
    if (request && Number(request[1]) === tag) return request[2];
  }
  return undefined;
}

function readingWords({ azimuth, inclination, roll, acc, mag }: SensedReading): string {
  const angles = [
    ...(azimuth === undefined ? [] : [`azimuth ${azimuth.toFixed(1)}°`]),
    ...(inclination === undefined ? [] : [`inclination ${inclination.toFixed(1)}°`]),
    ...(roll === undefined ? [] : [`roll ${roll.toFixed(1)}°`]),
  ];
  if (angles.length > 0) return angles.join(', ');
  return `raw counts ${acc.map(Math.round).join(', ')} and ${mag.map(Math.round).join(', ')}`;
}

/** Fields as they stand. */
function plain(word: string, fields: Fields): string {
  const parts = Object.entries(fields).map(([name, items]) => `${name} ${items.join(', ')}`);
  const text = [word, ...(parts.length > 0 ? [parts.join('; ')] : [])].join(': ');
  return text.length > 160 ? `${text.slice(0, 160)}…` : text;
}

/** What a message says; or, where it says nothing that can be, which field is wrong and why. */
function sensible(words: () => string): string {
  try {
    return words();
  } catch (error) {
    if (!(error instanceof ProtocolError) || error.fault.cause !== 'nonsense') throw error;
    return `makes no sense: ${error.fault.field} ${error.fault.why}`;
  }
}

const firstSentence = (text: string): string => text.slice(0, text.indexOf('.') + 1);
