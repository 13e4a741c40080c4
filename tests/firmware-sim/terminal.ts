import { type BoardOptions, SimulatedBoard } from '../../firmware-sim/board.ts';
import { VirtualClock } from '../../firmware-sim/clock.ts';
import { defaultSettings } from '../../firmware-sim/settings.ts';
import { crc16 } from '../../src/protocol/crc.ts';
import type { CoefficientSet } from '../../src/protocol/coefficient-set.ts';
import { type Fields, formatRequest, type Line, parseLine } from '../../src/protocol/line.ts';
import { setCrc, VERBS } from '../../src/protocol/messages.ts';
import type { SimulatorSettings } from '../../src/protocol/simulator.ts';

/** Any answer comes well within this. */
const LONG = 2000;

/** Adds its check to a line, as a host does. */
export function withCheck(body: string): string {
  const check = crc16(new TextEncoder().encode(body));
  return `${body} #${check.toString(16).toUpperCase().padStart(4, '0')}`;
}

/** Someone at a serial terminal, typing to a simulated board on a virtual clock and reading what it says. */
export class Terminal {
  readonly clock = new VirtualClock();
  readonly board: SimulatedBoard;
  /** All that the board has said. */
  heard = '';
  closed: string | undefined;
  #send!: (bytes: Uint8Array) => void;
  #lastTag = 0;

  /** @param wait how long whoever types waits for what the board says, milliseconds */
  constructor(
    settings: Partial<SimulatorSettings> = {},
    options: BoardOptions = {},
    private readonly wait = LONG,
  ) {
    this.board = new SimulatedBoard({ ...defaultSettings, ...settings }, this.clock, options);
    this.connect();
  }

  connect(): void {
    this.closed = undefined;
    const port = this.board.connect({
      bytes: (chunk) => (this.heard += new TextDecoder().decode(chunk)),
      closed: ({ message }) => (this.closed = message),
    });
    this.#send = (bytes) => {
      for (let at = 0; at < bytes.length; at += 20) port.send(bytes.subarray(at, at + 20));
    };
  }

  /** Sends bytes as they are, waits, and gives the lines the board said meanwhile. */
  type(text: string): string[] {
    const before = this.heard.length;
    this.#send(new TextEncoder().encode(text));
    this.clock.advance(this.wait);
    return this.heard.slice(before).split('\n').filter(Boolean);
  }

  /** A checked request under a new tag; gives its answer's fields, or what the board refused it with. */
  ask(request: string): { ok: boolean; fields: Fields; events: Line[] } {
    const tag = ++this.#lastTag;
    const lines = this.type(`${withCheck(`?${tag} ${request}`)}\n`).map(read);
    const answer = lines.find((line) => line.kind === 'answer' && line.tag === tag);
    if (answer?.kind !== 'answer') throw new Error(`No answer to ${request}.`);
    return {
      ok: answer.ok,
      fields: answer.fields,
      events: lines.filter((line) => line.kind === 'event'),
    };
  }

  /** The code that the board refuses a request with. */
  refusal(request: string): string | undefined {
    const { ok, fields } = this.ask(request);
    return ok ? undefined : fields.code?.[0];
  }

  hello(): Fields {
    return this.ask('hello host=0000ABCD protocol=1').fields;
  }

  /** Says hello and starts collecting. */
  collect(): this {
    this.hello();
    this.ask('mode set=collect');
    return this;
  }

  /** A captured reading's fields, from its event. */
  capture(): Fields {
    const { ok, fields, events } = this.ask('capture');
    if (!ok || events.length !== 1) throw new Error(`The capture failed: ${fields.code}.`);
    return events[0]!.fields;
  }

  stage(set: CoefficientSet): void {
    const tag = ++this.#lastTag;
    const bytes = formatRequest(tag, 'stage', VERBS.stage.request.write(set));
    this.type(new TextDecoder().decode(bytes));
    this.ask(`check crc=${setCrc(set)}`);
  }

  /** Stages, checks and seals; false when the board did not answer that it did. */
  seal(set: CoefficientSet, replaces: number): boolean {
    this.stage(set);
    return this.ask(`seal replaces=${replaces} crc=${setCrc(set)}`).ok;
  }
}

export function read(text: string): Line {
  const line = parseLine(text);
  if (typeof line === 'string') throw new Error(`The board said a ${line}: ${text}`);
  return line;
}

/** The coefficients of a board whose chips are perfect and sit along the body's axes. */
export function plainSet(change: Record<number, number> = {}): CoefficientSet {
  const identity = [1, 0, 0, 0, 1, 0, 0, 0, 1];
  const values = [16384, 3400, 0, 0, 0, ...identity, 0, 0, 0, ...identity];
  for (const [at, value] of Object.entries(change)) values[Number(at)] = Math.fround(value);
  return { model: 'straight', values };
}

export function numbers(fields: Fields, name: string): number[] {
  return fields[name]!.map(Number);
}
