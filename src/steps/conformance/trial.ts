import type { StoredSet } from '../../protocol/board.ts';
import { setCrc } from '../../protocol/messages.ts';
import type { BoardCode } from '../../protocol/errors.ts';
import type { Fields } from '../../protocol/line.ts';
import { messageFault, readSet, type MessageName } from './fields-of.ts';
import type { Exchange, Talk } from './talk.ts';

/** One check of a board: what SPEC.md says, what is sent, and what is made of the answers. */

/** What a person agreed to. Nothing of it is done without. */
export interface Consents {
  /** Takes readings and erases them again, on a board whose memory is empty. */
  readings?: boolean;
  /** Seals a set of its own and puts back what was in force. */
  seal?: boolean;
  /** Seals a first set on a board that has none; that cannot be taken back. */
  firstSeal?: boolean;
  /** Renames the board and changes a setting, and puts both back. */
  settings?: boolean;
  /** Has the board start again. */
  restart?: boolean;
}

/** Someone at the board, who does what cannot be done over the link. Each resolves once it is done. */
export interface Hands {
  /** Takes its power away and gives it back, in place of asking the board to start again. */
  restart?(): Promise<void>;
  press?(): Promise<void>;
}

/**
 * What must be so for a check to be tried. `always`: it changes nothing, even on a board that breaks every rule.
 * `empty`: a board that breaks rules could lose readings, so there must be none. `never`: what it changes cannot be put
 * back. The others: the consent or the hands for it, and that what is changed can be put back.
 */
export type Need =
  | 'always'
  | 'empty'
  | 'readings'
  | 'press'
  | 'settings'
  | 'first seal'
  | 'seal'
  | 'restart'
  | 'never';

export interface Check {
  /** Its own, among all checks. */
  readonly name: string;
  /** Of SPEC.md, as `2.3`. */
  readonly section: string;
  /** What SPEC.md says there. */
  readonly says: string;
  readonly need: Need;
  /** What it has sealed stands for the next check, which would mean nothing otherwise. */
  readonly leaves?: true;
  run(trial: Trial): Promise<void>;
}

export interface Memory {
  first: number;
  last: number;
  count: number;
  room: number;
  dropped: number;
}

/** A board as it was found, as far as it could be read. */
export interface Found {
  hello: Fields;
  can: readonly string[];
  chunk: number;
  generation: number;
  memory?: Memory;
  inForce?: StoredSet;
  previous?: StoredSet;
}

/** What the checks have changed so far, or may have: noted before each step, so that nothing cuts it off. */
export interface Ledger {
  /** Readings of these checks may be in the memory. */
  readings: boolean;
  /** Something may have been sealed since the set in force was last known to be the right one. */
  sealed: boolean;
  /** The previous set is no longer the one that was found. */
  displaced: boolean;
  /** A first set was sealed, or may have been. */
  firstSealed: boolean;
  /** The board may have another name than it was found with. */
  renamed: boolean;
  /** The setting that may have been changed, with the value it had. */
  setting?: { name: string; value: string };
  /** A revision of the settings was adopted, and the values were put back by another. */
  revised: boolean;
}

/** Something that is not as SPEC.md says. */
export interface Finding {
  sent: readonly string[];
  came: readonly string[];
  /** What should have been. */
  wanted: string;
}

/** Why a check is not tried for which leave, or somebody to press the trigger, is wanting. */
export const NOT_AGREED = {
  readings: 'it takes readings and erases them again, which was not agreed to',
  settings: 'it renames the board or changes a setting and puts that back, which was not agreed to',
  seal: 'it seals a set of its own and goes back to the one before, which was not agreed to',
  firstSeal:
    'no set was ever sealed on it, and a first seal, which cannot be taken back, was not agreed to',
  restart: 'the board must start again for it, which was not agreed to',
  press: 'nobody was there to press the trigger',
} as const satisfies Record<keyof Consents | keyof Hands, string>;

/** A check cannot be tried here. */
export class NotTried extends Error {
  override readonly name = 'NotTried';
}

/** What checks share. */
export interface Ground {
  readonly talk: Talk;
  readonly found: Found;
  readonly hands: Hands;
  readonly ledger: Ledger;
  /** Agreed to, and the memory was found empty. */
  readonly mayTakeReadings: boolean;
  /** The sets that the checks seal: each another, and both measure right. */
  sets: { own: StagedSet; other: StagedSet };
  /** The set that must be in force in the end, and its generation now. */
  right?: StoredSet;
  /** What was sealed or reverted last, to send it once more, and the generation that was in force after it. */
  lastChange?: { request: string; tag: number; answer: string; generation?: number };
  /** What was so before the board was restarted. */
  beforeRestart?: { reading?: Fields; memory?: Memory };
}

export interface StagedSet {
  model: 'straight' | 'bowed';
  /** Words of SPEC.md, section 6.1, one after another. */
  words: string;
  crc: string;
  values: readonly number[];
}

/** A set as it is staged. */
export function stagedSet(model: 'straight' | 'bowed', values: readonly number[]): StagedSet {
  const view = new DataView(new ArrayBuffer(4));
  const words = values.map((value) => {
    view.setFloat32(0, value);
    return view.getUint32(0).toString(16).toUpperCase().padStart(8, '0');
  });
  return { model, values, words: words.join(''), crc: setCrc({ model, values }) };
}

/** How many lines of a finding are shown; a board may send many. */
const SHOWN = 24;

export class Trial {
  readonly findings: Finding[] = [];
  readonly talk: Talk;

  constructor(
    readonly ground: Ground,
    private readonly says: string,
  ) {
    this.talk = ground.talk;
  }

  /** Opens a new conversation; the check cannot be tried where the board refuses it. */
  async hello(): Promise<Fields> {
    return this.needOk(await this.talk.hello());
  }

  ask(request: string, tag?: number): Promise<Exchange> {
    return this.talk.ask(request, tag);
  }

  /** Asks for what must be so before the check means anything: another check looks at it. */
  async get(request: string, tag?: number): Promise<Fields> {
    return this.needOk(await this.talk.ask(request, tag));
  }

  /** Notes that something is not as it should be, unless it is. */
  expect(right: boolean, evidence: Exchange | readonly Exchange[], wanted = this.says): boolean {
    if (!right) {
      const exchanges = [evidence].flat() as readonly Exchange[];
      const came = exchanges.flatMap((exchange) => exchange.came.map(({ text }) => text));
      const dropped = came.length - SHOWN;
      this.findings.push({
        sent: exchanges.map(({ sent }) => sent),
        came: dropped > 0 ? [...came.slice(0, SHOWN), `… ${dropped} lines more`] : came,
        wanted,
      });
    }
    return right;
  }

  /** The check means nothing unless this is so. */
  need(so: boolean, why: string): asserts so {
    if (!so) throw new NotTried(why);
  }

  needOk({ answer, sent }: Exchange): Fields {
    this.need(answer?.ok === true, `“${brief(sent)}” was not answered with ok`);
    return answer!.fields;
  }

  /** An `ok` answer is wanted, with the fields of the message. */
  expectOk(exchange: Exchange, message?: MessageName, wanted?: string): Fields | undefined {
    const { answer } = exchange;
    if (!this.expect(answer?.ok === true, exchange, wanted ?? 'An answer “ok”.')) return;
    const fault = message && messageFault(message, answer!.fields);
    if (fault) this.expect(false, exchange, `The field ${fault}.`);
    return answer!.fields;
  }

  /** An `error` answer with this code is wanted. */
  expectError(
    exchange: Exchange,
    code: BoardCode,
    fields: Readonly<Record<string, string>> = {},
  ): void {
    const { answer } = exchange;
    const more = Object.entries(fields).map(([name, value]) => ` ${name}=${value}`);
    const so =
      answer?.ok === false &&
      answer.tag === (exchange.tag ?? 0) &&
      answer.fields['code']?.[0] === code &&
      Object.entries(fields).every(([name, value]) => answer.fields[name]?.[0] === value);
    const tag = exchange.tag ?? 0;
    this.expect(so, exchange, `=${tag} error code=${code}${more.join('')}`);
  }

  /** Silence is wanted; events may come at any time. */
  expectSilence(exchange: Exchange): void {
    const silent = exchange.came.every(({ line }) => line?.kind === 'event');
    this.expect(silent, exchange, 'No answer.');
  }

  /** The memory as the board says it is. */
  async memory(): Promise<Memory> {
    return memoryOf(await this.get('memory'));
  }

  /** Says hello and collects. Whatever is taken from now on is these checks' own. */
  async collect(): Promise<void> {
    await this.hello();
    await this.get('mode set=collect');
    this.ground.ledger.readings = true;
  }

  /** The set in force and its generation; another check looks at whether they are read rightly. */
  async inForce(): Promise<StoredSet> {
    const set = readSet(await this.get('coefficients which=in_force'));
    this.need(set !== undefined, 'the set in force cannot be read');
    return set;
  }

  /** Stages a set; what is answered is looked at by another check. */
  stage({ model, words }: StagedSet): Promise<Fields> {
    return this.get(`stage model=${model} words=${words}`);
  }

  async stageAndCheck(set: StagedSet): Promise<void> {
    await this.stage(set);
    await this.get(`check crc=${set.crc}`);
  }

  /** Nothing is staged. `after` is what might have staged something. */
  async expectNothingStaged(after: Exchange): Promise<void> {
    const look = await this.ask('coefficients which=staged');
    const none = look.answer?.ok === false;
    this.expect(none, [after, look], 'Nothing is staged afterwards.');
  }
}

/** A memory's state, as far as it can be read: what cannot counts as nought. */
export function memoryOf(fields: Fields): Memory {
  const number = (name: string): number => Number(fields[name]?.[0] ?? 0) || 0;
  return {
    first: number('first'),
    last: number('last'),
    count: number('count'),
    room: number('room'),
    dropped: number('dropped'),
  };
}

/** A line, short enough to stand in a sentence. */
export function brief(line: string): string {
  return line.length > 48 ? `${line.slice(0, 47)}…` : line;
}
