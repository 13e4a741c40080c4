import {
  formatAnswer,
  formatEvent,
  LineReader,
  parseLine,
  type Fields,
  type FieldValues,
} from '../../src/protocol/line.ts';
import { LinkError, type ByteLink, type LinkListener } from '../../src/protocol/link.ts';
import { EVENTS, VERBS } from '../../src/protocol/messages.ts';
import type { BoardIdentity, BoardReading } from '../../src/protocol/board.ts';

const encoder = new TextEncoder();

export const IDENTITY: BoardIdentity = {
  protocol: 1,
  serial: 'T-1',
  name: 'Trial board',
  hardware: 'trial/1',
  firmware: '0.1',
  capabilities: ['kept', 'trigger'],
  accScale: 16384,
  magScale: 3000,
  accMounting: '+y-x+z',
  magMounting: '+x+y+z',
  accNoise: 16,
  magNoise: 6,
  chunk: 64,
  captureMs: 400,
  generation: 0,
};

export function reading(number: number): BoardReading {
  return { reading: number, generation: 0, acc: [number, 0, 16384], mag: [1200.25, -8, 2700] };
}

/**
 * A link with a script at its other end. The script gets each line of the host, and says lines by `say`, bytes by
 * `sayBytes`. It takes bytes as they come and knows nothing of conversations, unless the script does.
 */
export class ScriptedLink implements ByteLink {
  readonly label = 'scripted board';
  /** Each line the host wrote, without its LF; empty lines are left out. */
  readonly heard: string[] = [];
  /** How long each write was, bytes. */
  readonly writes: number[] = [];
  closings = 0;
  #listener: LinkListener | undefined;
  readonly #reader = new LineReader((text) => {
    this.heard.push(text);
    this.script(text);
  });

  constructor(public script: (line: string) => void = () => {}) {}

  open(listener: LinkListener): Promise<void> {
    this.#listener = listener;
    return Promise.resolve();
  }

  write(bytes: Uint8Array): Promise<void> {
    if (!this.#listener) return Promise.reject(new LinkError('closed', 'link is closed'));
    this.writes.push(bytes.length);
    this.#reader.push(bytes);
    return Promise.resolve();
  }

  close(): Promise<void> {
    this.closings++;
    this.#listener = undefined;
    return Promise.resolve();
  }

  sayBytes(bytes: Uint8Array): void {
    this.#listener?.bytes(bytes);
  }

  /** Says text as it stands, without a check. */
  sayText(text: string): void {
    this.sayBytes(encoder.encode(text));
  }

  drop(reason: string): void {
    const listener = this.#listener;
    this.#listener = undefined;
    listener?.closed(new LinkError('gone', reason));
  }
}

/**
 * The conversational part of a board, in as few words as SPEC.md, sections 2 to 5 allow: tags, events, memory and
 * captures, no coefficients. `hurt` may lose or change any line on its way, either way: it returns the bytes that
 * arrive.
 */
export class ScriptedBoard {
  readonly link = new ScriptedLink((line) => this.#hear(line));
  hurt: (direction: 'to_board' | 'from_board', bytes: Uint8Array) => Uint8Array = (_, bytes) =>
    bytes;
  /** Numbers of the readings taken, in order. */
  readonly taken: number[] = [];
  /** How many events it keeps for `again`. */
  keptEvents = 16;
  /** Readings that recall no longer finds. */
  readonly forgotten = new Set<number>();
  /** Makes the fields of the event of a reading. */
  eventOf: (number: number) => FieldValues = (number) => EVENTS.reading.write(reading(number));
  /** Answers instead of the board's own, by verb. */
  readonly answers: Partial<Record<string, (fields: Fields) => FieldValues | string>> = {};

  #mode = 'idle';
  #open = false;
  #answered = new Map<number, { line: string; bytes: Uint8Array }>();
  #events: Uint8Array[] = [];

  /** The trigger on the board. */
  press(): void {
    const number = this.taken.length + 1;
    this.taken.push(number);
    this.#emit(formatEvent(this.#events.length + 1, 'reading', this.eventOf(number)));
  }

  /** Forgets the conversation, as after a loss of power. */
  restart(): void {
    this.#open = false;
    this.#answered.clear();
    this.#events = [];
    this.#mode = 'idle';
  }

  #emit(bytes: Uint8Array): void {
    this.#events.push(bytes);
    this.#say(bytes);
  }

  #say(bytes: Uint8Array): void {
    this.link.sayBytes(this.hurt('from_board', bytes));
  }

  #hear(sent: string): void {
    const arrived = new TextDecoder().decode(this.hurt('to_board', encoder.encode(`${sent}\n`)));
    for (const text of arrived.split('\n')) if (text !== '') this.#serve(text);
  }

  #serve(text: string): void {
    const line = parseLine(text);
    if (line === 'bad_check' || line === 'bad_line' || line.kind !== 'request') {
      const code = line === 'bad_check' ? 'bad_check' : 'bad_line';
      this.#say(formatAnswer(0, false, { code }));
      return;
    }
    const known = this.#answered.get(line.tag);
    // A hello is a repeat only of the very last request: else it opens a conversation, whatever it looks like.
    const fresh = line.verb === 'hello' && known !== [...this.#answered.values()].at(-1);
    if (known && !fresh) {
      const bytes =
        known.line === text ? known.bytes : formatAnswer(line.tag, false, { code: 'tag_reused' });
      this.#say(bytes);
      return;
    }
    if (line.verb === 'hello') {
      this.restart();
      this.#open = true;
    }
    const answer = this.#open ? this.#carryOut(line.verb, line.fields) : 'no_hello';
    const bytes =
      typeof answer === 'string'
        ? formatAnswer(line.tag, false, { code: answer })
        : 'code' in answer
          ? formatAnswer(line.tag, false, answer)
          : formatAnswer(line.tag, true, answer);
    this.#answered.set(line.tag, { line: text, bytes });
    for (const tag of [...this.#answered.keys()].slice(0, -8)) this.#answered.delete(tag);
    this.#say(bytes);
  }

  #carryOut(verb: string, fields: Fields): FieldValues | string {
    const own = this.answers[verb];
    if (own) return own(fields);
    switch (verb) {
      case 'hello': {
        const { host } = VERBS.hello.request.read(fields);
        return VERBS.hello.answer.write({ ...IDENTITY, host });
      }
      case 'mode':
        this.#mode = fields['set']![0]!;
        return { mode: this.#mode };
      case 'capture':
        if (this.#mode !== 'collect') return 'wrong_mode';
        this.press();
        return { reading: this.taken.length };
      case 'memory': {
        const last = this.taken.length;
        return { first: last === 0 ? 0 : 1, last, count: last, room: 100, dropped: 0 };
      }
      case 'recall': {
        const number = Number(fields['reading']![0]);
        if (!this.taken.includes(number) || this.forgotten.has(number)) return 'no_such_reading';
        return VERBS.recall.answer.write(reading(number));
      }
      case 'again': {
        const from = Number(fields['from']![0]);
        const newest = this.#events.length;
        const oldest = Math.max(1, newest - this.keptEvents + 1);
        if (from > newest + 1) return { code: 'bad_field', field: 'from' };
        if (from < oldest) return { code: 'event_gone', oldest };
        for (const bytes of this.#events.slice(from - 1)) this.#say(bytes);
        return { from, to: newest };
      }
      default:
        return 'unknown_verb';
    }
  }
}
