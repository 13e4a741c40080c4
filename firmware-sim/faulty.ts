import type { Clock } from '../src/protocol/clock.ts';
import { crc16, crc32 } from '../src/protocol/crc.ts';
import { parseLine, type Fields, type Line } from '../src/protocol/line.ts';
import type { ByteLink, LinkListener } from '../src/protocol/link.ts';

/**
 * Boards with one deliberate fault each: a link to a sound board, with something between that alters what passes as
 * that fault would. They are what the check of a board is tried on.
 */

/** What stands between host and board. Lines are without LF; `request` and the like have no check. */
interface Between {
  readonly clock: Clock;
  /** Sends a line to the board as it stands. */
  board(line: string): void;
  /** Sends a line to the host as it stands. */
  host(line: string): void;
  /** Sends a request of its own to the board, whose answer nobody hears. */
  inject(request: string): void;
  /** Forgets what has come of a line that is not whole yet. */
  forget(): void;
}

/** What a fault does with what passes; what it does not handle passes unaltered. */
interface Meddling {
  /** Bytes as the host writes them, before they are cut into lines. */
  written?(bytes: Uint8Array): Uint8Array;
  /** Each line of the host, also an empty one. */
  toBoard?(line: string): void;
  toHost?(line: string): void;
  /** The link was opened, for the how manieth time. */
  opened?(times: number): void;
}

type Fault = (between: Between) => Meddling;
type Request = Extract<Line, { kind: 'request' }>;
type Answer = Extract<Line, { kind: 'answer' }>;
type Event = Extract<Line, { kind: 'event' }>;

const encoder = new TextEncoder();

function bodyOf(line: string): string {
  return line.replace(/ #[0-9A-F]{4}$/, '');
}

function checked(body: string): string {
  const check = crc16(encoder.encode(body)).toString(16).toUpperCase().padStart(4, '0');
  return `${body} #${check}`;
}

function requestIn(line: string): Request | undefined {
  const parsed = parseLine(line);
  return typeof parsed === 'object' && parsed.kind === 'request' ? parsed : undefined;
}

function answerIn(line: string): Answer | undefined {
  const parsed = parseLine(line);
  return typeof parsed === 'object' && parsed.kind === 'answer' ? parsed : undefined;
}

function eventIn(line: string): Event | undefined {
  const parsed = parseLine(line);
  return typeof parsed === 'object' && parsed.kind === 'event' ? parsed : undefined;
}

const number = (fields: Fields, name: string): number => Number(fields[name]?.[0]);

/** A line with a field set to another value, or left out, and the check put right. */
function edited(line: string, name: string, value: string | number | undefined): string {
  const field = new RegExp(` ${name}=[^ ]*`);
  return checked(bodyOf(line).replace(field, value === undefined ? '' : ` ${name}=${value}`));
}

/** A fault that alters lines from the board, one by one. */
const saying =
  (alter: (line: string) => string): Fault =>
  ({ host }) => ({ toHost: (line) => host(alter(line)) });

/** A fault that alters lines of the host, one by one. */
const hearing =
  (alter: (line: string) => string): Fault =>
  ({ board }) => ({ toBoard: (line) => board(alter(line)) });

/** A fault in the answers to one verb. `request` is what was asked. */
const answering =
  (verb: string, alter: (line: string, answer: Answer, request: Request) => string): Fault =>
  ({ board, host }) => {
    const asked = new Map<number, Request>();
    return {
      toBoard(line) {
        const request = requestIn(line);
        if (request) asked.set(request.tag, request);
        board(line);
      },
      toHost(line) {
        const answer = answerIn(line);
        const request = answer && asked.get(answer.tag);
        host(answer?.ok && request?.verb === verb ? alter(line, answer, request) : line);
      },
    };
  };

/** A fault in readings, wherever they are told: in events, in answers to recall. */
const readings = (alter: (line: string) => string): Fault =>
  saying((line) => (/ reading=[0-9]+ generation=/.test(line) ? alter(line) : line));

/** Requests of one verb, typed by hand, are carried out as if they had a check. */
const typedDone = (verb: string): Fault =>
  hearing((line) => {
    const request = requestIn(line);
    return request?.verb === verb && !request.checked ? checked(line) : line;
  });

/** Lines that meet a condition are answered as bad ones. */
const refusing =
  (bad: (line: string) => boolean): Fault =>
  ({ board, host }) => ({
    toBoard: (line) => (bad(line) ? host(checked('=0 error code=bad_line')) : board(line)),
  });

/**
 * Gives requests other tags on their way, so that the board takes a repeat for something new.
 *
 * @param remembers whether a request, seen so many requests ago, is still known
 */
const forgetting =
  (remembers: (request: Request, ago: number) => boolean): Fault =>
  ({ board, host }) => {
    let given: { tag: number; body: string; inner: number }[] = [];
    let last = 1000;
    return {
      toBoard(line) {
        const request = requestIn(line);
        // a line so long has no room for a longer tag
        if (!request || line.length > 300) return board(line);
        if (request.verb === 'hello') {
          given = [];
          return board(line);
        }
        const body = bodyOf(line);
        const at = given.findLastIndex(({ tag }) => tag === request.tag);
        const known = at >= 0 && remembers(request, given.length - at) ? given[at]! : undefined;
        const inner = known?.inner ?? ++last;
        if (!known) given.push({ tag: request.tag, body, inner });
        const renamed = body.replace(/^\?[0-9]+/, `?${inner}`);
        board(request.checked ? checked(renamed) : renamed);
      },
      toHost(line) {
        const known = given.find(({ inner }) => inner === answerIn(line)?.tag);
        host(known ? checked(bodyOf(line).replace(/^=[0-9]+/, `=${known.tag}`)) : line);
      },
    };
  };

/** Keeps an eye on the generation in force and on the CRC of what is staged. */
function watching(
  act: (seen: { generation: number; staged: string }, between: Between) => Meddling,
): Fault {
  return (between) => {
    const seen = { generation: 0, staged: '00000000' };
    const meddling = act(seen, between);
    return {
      ...meddling,
      toHost(line) {
        const answer = answerIn(line);
        if (
          answer?.ok &&
          ('serial' in answer.fields || /^=[0-9]+ ok generation=[0-9]+ #/.test(line))
        ) {
          seen.generation = number(answer.fields, 'generation');
        }
        if (answer?.ok && /^=[0-9]+ ok crc=/.test(line)) seen.staged = answer.fields['crc']![0]!;
        (meddling.toHost ?? between.host)(line);
      },
    };
  };
}

const padded = (line: string, length: number): string => {
  const body = bodyOf(line);
  return checked(`${body} x=${'x'.repeat(length - body.length - ' x= #0000\n'.length)}`);
};

/** Every fault by its name, which says what such a board does. */
export const FAULTS = {
  'sends events without their check': saying((line) => (eventIn(line) ? bodyOf(line) : line)),
  'writes its check in lower case': saying((line) =>
    line.replace(/ #[0-9A-F]{4}$/, (check) => check.toLowerCase()),
  ),
  'answers memory with 330 bytes': answering('memory', (line) => padded(line, 330)),
  'carries out damaged lines': hearing((line) =>
    / #[0-9A-F]{4}$/.test(line) ? checked(bodyOf(line)) : line,
  ),
  'answers a damaged line under its tag': ({ board, host }) => {
    let tag = 1;
    return {
      toBoard(line) {
        tag = Number(/^\?([1-9][0-9]{0,5}) /.exec(line)?.[1] ?? tag);
        board(line);
      },
      toHost: (line) =>
        host(
          line.startsWith('=0 error code=bad_check')
            ? checked(`=${tag} error code=bad_check`)
            : line,
        ),
    };
  },
  'cuts lines off at their longest': hearing((line) => line.slice(0, 319)),
  'has a buffer of 310 bytes': refusing((line) => line.length > 309),
  'answers empty lines': refusing((line) => line === ''),
  'takes a CR for part of the line': refusing((line) => line.length > 1 && line.endsWith('\r')),
  'skips bytes that it does not know': () => ({
    written: (bytes) =>
      bytes.filter((byte) => byte === 0x0a || byte === 0x0d || (byte >= 0x20 && byte <= 0x7e)),
  }),
  'forgets half a line after a second': ({ clock, forget }) => {
    let heard = clock.now();
    return {
      written(bytes) {
        if (clock.now() - heard > 1000) forget();
        heard = clock.now();
        return bytes;
      },
    };
  },
  'takes 64 bytes in one write': () => ({ written: (bytes) => bytes.subarray(0, 64) }),
  'refuses fields of mode that it does not know': ({ board, host }) => ({
    toBoard(line) {
      const request = requestIn(line);
      const strange = request && Object.keys(request.fields).find((name) => name !== 'set');
      if (request?.verb !== 'mode' || strange === undefined) return board(line);
      host(checked(`=${request.tag} error code=bad_field field=${strange}`));
    },
  }),
  'calls unknown verbs bad lines': saying((line) =>
    line.includes(' code=unknown_verb') ? edited(line, 'code', 'bad_line') : line,
  ),
  'answers a known tag whatever comes under it': ({ board, host }) => {
    let answers = new Map<number, string>();
    return {
      toBoard(line) {
        const request = requestIn(line);
        if (request?.verb === 'hello') answers = new Map();
        const known = request && request.verb !== 'hello' && answers.get(request.tag);
        if (known) host(known);
        else board(line);
      },
      toHost(line) {
        const answer = answerIn(line);
        if (answer && answer.tag > 0) answers.set(answer.tag, line);
        host(line);
      },
    };
  },
  'remembers four requests': forgetting((_, ago) => ago <= 4),
  'remembers no request': forgetting(() => false),
  'captures again for a repeated capture': forgetting(({ verb }) => verb !== 'capture'),
  'sends events again for a repeated again': forgetting(({ verb }) => verb !== 'again'),
  'answers everything twice': ({ host }) => ({
    toHost(line) {
      host(line);
      if (answerIn(line)) host(line);
    },
  }),
  'answers coefficients after two seconds': ({ board, host, clock }) => {
    const late = new Set<number>();
    return {
      toBoard(line) {
        const request = requestIn(line);
        if (request?.verb === 'coefficients') late.add(request.tag);
        board(line);
      },
      toHost(line) {
        const tag = answerIn(line)?.tag;
        if (tag !== undefined && late.delete(tag)) clock.after(2000, () => host(line));
        else host(line);
      },
    };
  },
  'repeats the first host number for ever': ({ host }) => {
    let first: string | undefined;
    return {
      toHost(line) {
        const own = answerIn(line)?.fields['host']?.[0];
        first ??= own;
        host(own === undefined ? line : edited(line, 'host', first));
      },
    };
  },
  'says whatever version it is asked for': answering('hello', (line, _, request) =>
    edited(line, 'protocol', number(request.fields, 'protocol')),
  ),
  'does not say how long a capture takes': answering('hello', (line) =>
    edited(line, 'capture_ms', undefined),
  ),
  'keeps what was just staged over a hello': ({ board, host, inject }) => {
    let staged: string | undefined;
    let greeting = false;
    return {
      toBoard(line) {
        const request = requestIn(line);
        greeting = request?.verb === 'hello';
        if (request && !greeting) {
          staged = request.verb === 'stage' ? bodyOf(line).replace(/^\?[0-9]+ /, '') : undefined;
        }
        board(line);
      },
      toHost(line) {
        if (greeting && staged !== undefined && answerIn(line)?.ok) inject(staged);
        if (greeting) staged = undefined;
        host(line);
      },
    };
  },
  'does not say which mode it is in': answering('mode', (line) => edited(line, 'mode', undefined)),
  'gives counts with four decimals': answering('sense', (line, { fields }) =>
    edited(line, 'acc', fields['acc']!.map((count) => Number(count).toFixed(4)).join(',')),
  ),
  'turns roll the other way in sense': answering('sense', (line, { fields }) =>
    'roll' in fields ? edited(line, 'roll', (360 - number(fields, 'roll')) % 360) : line,
  ),
  'counts the azimuth of readings from south': readings((line) => {
    const azimuth = / azimuth=([0-9.]+)/.exec(line)?.[1];
    return azimuth === undefined
      ? line
      : edited(line, 'azimuth', Number(((Number(azimuth) + 180) % 360).toFixed(3)));
  }),
  'says generation 0 in readings': readings((line) => edited(line, 'generation', 0)),
  'recalls whole counts': answering('recall', (line, { fields }) =>
    edited(line, 'acc', fields['acc']!.map((count) => Math.round(Number(count))).join(',')),
  ),
  'answers a capture before its event': ({ board, host }) => {
    let capturing = false;
    let held: string | undefined;
    return {
      toBoard(line) {
        capturing = requestIn(line)?.verb === 'capture';
        board(line);
      },
      toHost(line) {
        if (capturing && eventIn(line)) {
          held = line;
          return;
        }
        host(line);
        if (held !== undefined) host(held);
        held = undefined;
      },
    };
  },
  'leaves a number of events out': ({ board, host }) => {
    // after the second event each has a number more than the board gave it
    const outer = (inner: number): number => (inner < 3 ? inner : inner + 1);
    return {
      toBoard(line) {
        const request = requestIn(line);
        const from = request?.verb === 'again' ? number(request.fields, 'from') : 0;
        board(from > 3 && from < 999_999 ? edited(line, 'from', from - 1) : line);
      },
      toHost(line) {
        const event = eventIn(line);
        if (event)
          return host(checked(bodyOf(line).replace(/^![0-9]+/, `!${outer(event.number)}`)));
        const { fields } = answerIn(line) ?? {};
        if (!fields || !('from' in fields)) return host(line);
        const named = edited(line, 'to', outer(number(fields, 'to')));
        const from = number(fields, 'from');
        host(from >= 3 ? edited(named, 'from', from + 1) : named);
      },
    };
  },
  'sends events again with a new time': ({ board, host }) => {
    let again = false;
    return {
      toBoard(line) {
        again = requestIn(line)?.verb === 'again';
        board(line);
      },
      toHost: (line) => host(again && eventIn(line) ? edited(line, 't_ms', 1) : line),
    };
  },
  'keeps eight events': ({ board, host }) => {
    let newest = 0;
    return {
      toBoard(line) {
        const request = requestIn(line);
        const from = request?.verb === 'again' ? number(request.fields, 'from') : 0;
        if (!request || !(from >= 1 && from <= newest - 8)) return board(line);
        host(checked(`=${request.tag} error code=event_gone oldest=${newest - 7}`));
      },
      toHost(line) {
        if (answerIn(line)?.fields['serial']) newest = 0;
        newest = Math.max(newest, eventIn(line)?.number ?? 0);
        host(line);
      },
    };
  },
  'counts no room away': answering('memory', (line, { fields }) =>
    edited(line, 'room', number(fields, 'room') + number(fields, 'count')),
  ),
  'erases one reading too many': ({ board, host }) => {
    let last = 0;
    return {
      toBoard(line) {
        const request = requestIn(line);
        const through = request?.verb === 'erase' ? number(request.fields, 'through') : 0;
        board(through > 0 && through < last ? edited(line, 'through', through + 1) : line);
      },
      toHost(line) {
        const { fields } = eventIn(line) ?? {};
        if (fields && 'reading' in fields) last = number(fields, 'reading');
        host(line);
      },
    };
  },
  'numbers readings from 1 again after an erase': ({ board, host }) => {
    let offset = 0;
    let last = 0;
    let erasing = 0;
    const shifted = (line: string, name: string, by: number): string => {
      const value = Number(new RegExp(` ${name}=([1-9][0-9]*)(?= |$)`).exec(line)?.[1]);
      return value + by <= 9_999_999 ? edited(line, name, value + by) : line;
    };
    return {
      toBoard(line) {
        const request = requestIn(line);
        if (request?.verb === 'recall' && request.checked)
          return board(shifted(line, 'reading', offset));
        if (request?.verb !== 'erase' || !request.checked) return board(line);
        erasing = number(request.fields, 'through') + offset;
        board(shifted(line, 'through', offset));
      },
      toHost(line) {
        const { fields } = eventIn(line) ?? answerIn(line) ?? {};
        if (fields && 'reading' in fields) last = Math.max(last, number(fields, 'reading'));
        const told = ['reading', 'first', 'last'].reduce(
          (text, name) => shifted(text, name, -offset),
          line,
        );
        if (fields && 'erased' in fields && erasing === last) offset = last;
        host(told);
      },
    };
  },
  'erases for a line typed by hand': typedDone('erase'),
  'captures for a line typed by hand': typedDone('capture'),
  'renames for a line typed by hand': typedDone('rename'),
  'always says that its light is on': answering('light', (line) => edited(line, 'light', 'on')),
  'counts a setting that it has not': answering('settings', (line, { fields }) =>
    edited(line, 'count', number(fields, 'count') + 1),
  ),
  'tells the scale of ranges in percent': answering('setting', (line, { fields }) =>
    fields['name']?.[0] === 'range_scale' ? edited(line, 'unit', '%25') : line,
  ),
  'names the old revision after an adopt': answering('adopt', (line, { fields }) =>
    edited(line, 'revision', number(fields, 'revision') - 1),
  ),
  'names another firmware in its image report': answering('image', (line) =>
    edited(line, 'running', '0.9'),
  ),
  'seals for a line typed by hand': typedDone('seal'),
  'reverts for a line typed by hand': typedDone('revert'),
  'takes a reading number of 0': saying((line) =>
    line.includes(' code=bad_field field=reading')
      ? edited(edited(line, 'field', undefined), 'code', 'no_such_reading')
      : line,
  ),
  'leaves the model out of the CRC it answers': answering('stage', (line, _, { fields }) => {
    const digits = fields['words']![0]!.match(/../g)!;
    const crc = crc32(Uint8Array.from(digits, (two) => parseInt(two, 16)));
    return edited(line, 'crc', crc.toString(16).toUpperCase().padStart(8, '0'));
  }),
  'checks any CRC': watching((seen, { board }) => ({
    toBoard(line) {
      const right = requestIn(line)?.verb === 'check' && /crc=[0-9A-F]{8} /.test(line);
      board(right && seen.staged !== '00000000' ? edited(line, 'crc', seen.staged) : line);
    },
  })),
  'seals whatever generation is named': watching((seen, { board }) => {
    let last: { line: string; altered: string } | undefined;
    return {
      toBoard(line) {
        const request = requestIn(line);
        const named = /^(0|[1-9][0-9]{0,4})$/.test(request?.fields['replaces']?.[0] ?? '');
        if (request?.verb !== 'seal' || !named || !request.checked) return board(line);
        // a repeat must stay the same to be known for one
        if (last?.line !== line)
          last = { line, altered: edited(line, 'replaces', seen.generation) };
        board(last.altered);
      },
    };
  }),
  'seals what was not checked': watching((seen, { board, inject }) => ({
    toBoard(line) {
      const request = requestIn(line);
      if (request?.verb === 'seal' && request.fields['crc']?.[0] === seen.staged) {
        inject(`check crc=${seen.staged}`);
      }
      board(line);
    },
  })),
  'names the old generation after a seal': answering('seal', (line, { fields }) =>
    edited(line, 'generation', number(fields, 'generation') - 1),
  ),
  'names the old generation after a revert': answering('revert', (line, { fields }) =>
    edited(line, 'generation', number(fields, 'generation') - 1),
  ),
  'needs no hello after a restart': ({ inject }) => ({
    opened: (times) => {
      if (times > 1) inject('hello host=00000001 protocol=1');
    },
  }),
  'does not start again when asked to': ({ board, host }) => ({
    toBoard(line) {
      const request = requestIn(line);
      if (request?.verb === 'restart') host(checked(`=${request.tag} ok`));
      else board(line);
    },
  }),
  'speaks before the first hello': ({ host }) => ({
    opened: (times) => {
      if (times > 1) host(checked('!1 power volt=3.2'));
    },
  }),
} satisfies Record<string, Fault>;

export type FaultName = keyof typeof FAULTS;

/** Tags of injected requests: no host comes that far in one conversation. */
const INJECTED = { first: 900_001, last: 900_999 };

/** A link to a board that has this fault, made of one to a board that has none. */
export class FaultyLink implements ByteLink {
  readonly label: string;
  readonly #meddling: Meddling;
  readonly #between: Between;
  #listener: LinkListener | undefined;
  #openings = 0;
  #injected: number = INJECTED.first;
  #fromHost = '';
  #fromBoard = '';
  #writing: Promise<void> = Promise.resolve();

  constructor(
    private readonly link: ByteLink,
    fault: FaultName,
    clock: Clock,
  ) {
    this.label = `${link.label} that ${fault}`;
    this.#between = {
      clock,
      board: (line) => this.#send(line),
      forget: () => (this.#fromHost = ''),
      host: (line) => this.#listener?.bytes(latin(`${line}\n`)),
      inject: (request) => {
        this.#send(checked(`?${this.#injected} ${request}`));
        this.#injected = this.#injected === INJECTED.last ? INJECTED.first : this.#injected + 1;
      },
    };
    this.#meddling = (FAULTS[fault] as Fault)(this.#between);
  }

  async open(listener: LinkListener): Promise<void> {
    this.#fromHost = '';
    this.#fromBoard = '';
    await this.link.open({
      bytes: (chunk) => this.#hear(chunk),
      closed: (end) => listener.closed(end),
    });
    this.#listener = listener;
    this.#openings += 1;
    this.#meddling.opened?.(this.#openings);
  }

  async write(bytes: Uint8Array): Promise<void> {
    const written = this.#meddling.written?.(bytes) ?? bytes;
    this.#fromHost += text(written);
    const lines = this.#fromHost.split('\n');
    this.#fromHost = lines.pop()!;
    for (const line of lines) (this.#meddling.toBoard ?? this.#between.board)(line);
    await this.#writing;
  }

  close(): Promise<void> {
    this.#listener = undefined;
    return this.link.close();
  }

  #send(line: string): void {
    const bytes = latin(`${line}\n`);
    this.#writing = this.#writing.then(async () => {
      for (let at = 0; at < bytes.length; at += 20) await this.link.write(bytes.slice(at, at + 20));
    });
  }

  #hear(chunk: Uint8Array): void {
    this.#fromBoard += text(chunk);
    const lines = this.#fromBoard.split('\n');
    this.#fromBoard = lines.pop()!;
    for (const line of lines) {
      const tag = answerIn(line)?.tag ?? 0;
      if (tag >= INJECTED.first && tag <= INJECTED.last) continue;
      (this.#meddling.toHost ?? this.#between.host)(line);
    }
  }
}

/** Bytes as characters of the same number, and back: nothing is lost, whatever the bytes. */
const text = (bytes: Uint8Array): string =>
  Array.from(bytes, (byte) => String.fromCharCode(byte)).join('');
const latin = (characters: string): Uint8Array =>
  Uint8Array.from(characters, (character) => character.charCodeAt(0));
