import type { BoardIdentity, BoardReading } from '../src/protocol/board.ts';
import type { Clock } from '../src/protocol/clock.ts';
import type { CoefficientSet } from '../src/protocol/coefficient-set.ts';
import type { FirmwareImage } from '../src/protocol/firmware-image.ts';
import { ProtocolError, type BoardCode, type Refusal } from '../src/protocol/errors.ts';
import { encodedLength } from '../src/protocol/fields.ts';
import {
  type Fields,
  type FieldValues,
  formatAnswer,
  formatEvent,
  type Line,
  LineReader,
  parseLine,
} from '../src/protocol/line.ts';
import {
  type AnswerOf,
  type EventKind,
  type EventOf,
  EVENTS,
  isVerb,
  LIMITS,
  PROTOCOL_VERSION,
  REFUSAL,
  type RequestOf,
  type SensedReading,
  setCrc,
  type Verb,
  VERBS,
} from '../src/protocol/messages.ts';
import { boardAngles } from './angles.ts';
import { type ImageSlots, TRIAL_SECONDS } from './image-slots.ts';
import type { KeptSettings } from './kept-settings.ts';
import type { BoardMemory, Readings } from './memory.ts';
import { type Averaged, SAMPLES } from './sensors.ts';

/** What the sensors and the rest of the circuit gave for one reading. */
export interface Measurement {
  acc: Averaged;
  mag: Averaged;
  temperature: number;
  /** What is told of the supply, where it is measured wrongly. */
  voltSaid?: number;
  /** Metres; absent on a board without a range module. */
  range?: number;
}

/** What the firmware runs on. */
export interface Hardware {
  /** Its tasks never run once power is gone. */
  clock: Clock;
  /** Where the coefficients are. */
  memory: BoardMemory;
  readings: Readings;
  kept: KeptSettings;
  slots: ImageSlots;
  /** What it has beside what hello lists. */
  has: { light: boolean; clock: boolean };
  /** By how much the clock of the day runs fast, parts in a million. */
  clockDrift(): number;
  /** Ends this program and starts the board again. */
  restart(): void;
  /** Does what firmware does when it is confirmed. */
  takeEffect(image: FirmwareImage): void;
  measure(): Measurement;
  volt(): number;
  send(bytes: Uint8Array): void;
}

/** What the board says of itself in hello, but for what changes. */
export type Declared = Omit<BoardIdentity, 'protocol' | 'generation'>;

type Request = Extract<Line, { kind: 'request' }>;
type Handlers = { [V in Verb]: (request: RequestOf<V>) => AnswerOf<V> };

/** How many answers are remembered for a repeated request, and how many events for `again`. */
const ANSWERS = 8;
const EVENTS_KEPT = 16;

/** Volts under which nothing is measured or written. */
const LOW_POWER = 3.3;

/** Verbs that change kept memory: they need a check. `capture` does so too where readings are kept. */
const KEEPING: readonly Verb[] = [
  ...(['erase', 'seal', 'revert', 'rename', 'adopt'] as const),
  ...(['load', 'put', 'verify', 'swap', 'confirm'] as const),
];
/** Verbs of what a board may not have. */
const SETTING: readonly Verb[] = ['settings', 'setting', 'change', 'adopt'];
const IMAGE: readonly Verb[] = ['image', 'load', 'put', 'verify', 'swap', 'confirm'];
/** Milliseconds from the answer to a restart until it comes. */
const RESTART_MS = 100;
/** Verbs that need a sound supply: they measure or write. */
const STRAINING: readonly Verb[] = ['sense', 'capture', ...KEEPING];

/** Ends the carrying out of a request with an `error` answer. */
class Refused extends Error {
  override readonly name = 'Refused';
  constructor(readonly refusal: Refusal) {
    super(refusal.code);
  }
}

function refuse(code: BoardCode, more: Omit<Refusal, 'code'> = {}): never {
  throw new Refused({ code, ...more });
}

/** What a request led to, ready to be written as an answer. */
interface Outcome {
  ok: boolean;
  fields: FieldValues;
}

function outcomeOf(work: () => FieldValues): Outcome {
  try {
    return { ok: true, fields: work() };
  } catch (error) {
    if (error instanceof Refused) return { ok: false, fields: REFUSAL.write(error.refusal) };
    throw error; // power failing, or a mistake in the firmware itself
  }
}

/** The program on the board, from switching on to losing power: the whole of SPEC.md. */
export class Firmware {
  readonly #startedAt: number;
  readonly #lines = new LineReader(
    (text) => this.#line(text),
    () => this.#answerDamaged('bad_line'),
  );

  /* The conversation; before the first hello there is none. */
  #greeted = false;
  #mode: 'idle' | 'collect' = 'idle';
  #staged: { set: CoefficientSet; checked: boolean } | undefined;
  #events: { number: number; bytes: Uint8Array }[] = [];
  #lastEvent = 0;
  /** The latest requests, oldest first; one without its answer is still being carried out. */
  #remembered: { tag: number; body: string; answer?: Uint8Array }[] = [];

  #light: 'on' | 'off' = 'off';
  /** What the clock of the day was set to, and when; nothing where it never was since the start. */
  #clockSet: { utc: number; at: number } | undefined;

  /** Gives up the measurement under way. */
  #abandon: (() => void) | undefined;

  constructor(
    private readonly hardware: Hardware,
    private readonly declared: () => Declared,
  ) {
    this.#startedAt = hardware.clock.now();
    if (hardware.slots.onTrial) {
      hardware.clock.after(1000 * TRIAL_SECONDS, () => {
        if (hardware.slots.onTrial) hardware.restart();
      });
    }
  }

  /** Bytes came over the link. */
  receive(bytes: Uint8Array): void {
    this.#lines.push(bytes);
  }

  /** The board's own trigger is pressed: a reading, or a `refused` event that says why not. */
  press(): void {
    if (!this.#greeted) return;
    const outcome = (work: () => void): void => {
      try {
        work();
      } catch (error) {
        if (!(error instanceof Refused)) throw error;
        const code = error.refusal.code as EventOf<'refused'>['code'];
        this.#emit('refused', { code });
      }
    };
    outcome(() => {
      this.#mayStrain();
      this.#mayCapture();
      this.#measure((measurement) => outcome(() => this.#keep(measurement)));
    });
  }

  /** The supply fell, from above the limit to below it. */
  supplyFell(): void {
    if (this.#greeted) this.#emit('power', { volt: this.hardware.volt() });
  }

  /** Whether the supply is too low to work with. */
  static isLow(volt: number): boolean {
    return volt < LOW_POWER;
  }

  #line(text: string): void {
    const line = parseLine(text);
    if (line === 'bad_check' || line === 'bad_line') return this.#answerDamaged(line);
    // A board is never sent answers or events; what looks like one is no request.
    if (line.kind !== 'request') return this.#answerDamaged('bad_line');
    this.#request(line, line.checked ? text.slice(0, text.lastIndexOf(' #')) : text);
  }

  #answerDamaged(code: 'bad_check' | 'bad_line'): void {
    this.hardware.send(formatAnswer(0, false, REFUSAL.write({ code })));
  }

  #request(request: Request, body: string): void {
    const { tag, verb } = request;
    const known = this.#remembered.find((entry) => entry.tag === tag);
    // a hello repeats only the very last request: a host may greet anew with numbers it used before
    if (known?.body === body && (verb !== 'hello' || known === this.#remembered.at(-1))) {
      if (known.answer) this.hardware.send(known.answer);
      return;
    }
    if (verb === 'hello') {
      const greeting = outcomeOf(() => this.#do('hello', request));
      if (greeting.ok) this.#remember({ tag, body });
      return this.#answer(tag, greeting);
    }
    const refusal = this.#greeted ? known && 'tag_reused' : 'no_hello';
    if (refusal)
      return this.#answer(
        tag,
        outcomeOf(() => refuse(refusal)),
      );

    this.#remember({ tag, body });
    const outcome = outcomeOf(() => this.#begin(request));
    // What measures is answered when it has measured, unless it is refused at once.
    if (outcome.ok && (verb === 'sense' || verb === 'capture')) return;
    this.#answer(tag, outcome);
  }

  /** Carries out a request, or begins to. */
  #begin(request: Request): FieldValues {
    const { tag, verb, checked } = request;
    if (!isVerb(verb) || !this.#has(verb)) refuse('unknown_verb');
    if (this.#abandon) refuse('busy');
    const keepsReadings = this.declared().capabilities.includes('kept');
    const keeps = KEEPING.includes(verb) || (verb === 'capture' && keepsReadings);
    if (keeps && !checked) refuse('check_needed');
    if (STRAINING.includes(verb)) this.#mayStrain();
    if (verb === 'capture') this.#mayCapture();
    if (verb !== 'capture' && verb !== 'sense') return this.#do(verb, request);

    this.#measure((measurement) => {
      const answer = (): FieldValues =>
        verb === 'sense'
          ? VERBS.sense.answer.write(this.#reading(measurement))
          : VERBS.capture.answer.write({ reading: this.#keep(measurement) });
      this.#answer(tag, outcomeOf(answer));
    });
    return {};
  }

  /** Whether this board has what the verb is for. */
  #has(verb: Verb): boolean {
    const { capabilities } = this.declared();
    if (SETTING.includes(verb)) return capabilities.includes('settings');
    if (IMAGE.includes(verb)) return capabilities.includes('image');
    if (verb === 'light' || verb === 'clock') return this.hardware.has[verb];
    return true;
  }

  #do<V extends Exclude<Verb, 'sense' | 'capture'>>(verb: V, request: Request): FieldValues {
    const message = VERBS[verb] as unknown as {
      request: { read(fields: Request['fields']): RequestOf<V> };
      answer: { write(value: AnswerOf<V>): FieldValues };
    };
    let asked: RequestOf<V>;
    try {
      asked = message.request.read(request.fields);
    } catch (error) {
      if (error instanceof ProtocolError && error.fault.cause === 'nonsense') {
        refuse('bad_field', { field: error.fault.field });
      }
      throw error;
    }
    const handle = this.#handlers[verb] as (request: RequestOf<V>) => AnswerOf<V>;
    return message.answer.write(handle(asked));
  }

  #remember(entry: { tag: number; body: string }): void {
    this.#remembered.push(entry);
    if (this.#remembered.length > ANSWERS) this.#remembered.shift();
  }

  #answer(tag: number, { ok, fields }: Outcome): void {
    const answer = formatAnswer(tag, ok, fields);
    const entry = this.#remembered.find((each) => each.tag === tag && !each.answer);
    if (entry) entry.answer = answer;
    this.hardware.send(answer);
  }

  readonly #handlers: Omit<Handlers, 'sense' | 'capture'> = {
    hello: ({ host, protocol }) => {
      this.#abandon?.();
      this.#abandon = undefined;
      this.#greeted = true;
      this.#mode = 'idle';
      this.#staged = undefined;
      this.hardware.kept.forget();
      this.#events = [];
      this.#lastEvent = 0;
      this.#remembered = [];
      const generation = this.hardware.memory.generation;
      const version = Math.min(protocol, PROTOCOL_VERSION);
      return { host, ...this.declared(), protocol: version, generation };
    },

    mode: ({ set }) => {
      this.#mode = set;
      return { mode: set };
    },

    memory: () => this.hardware.readings.state(),

    recall: ({ reading }) => this.hardware.readings.recall(reading) ?? refuse('no_such_reading'),

    erase: ({ through }) => {
      if (through > this.hardware.readings.lastGiven) refuse('no_such_reading');
      return { erased: this.hardware.readings.erase(through) };
    },

    again: ({ from }) => {
      const oldest = this.#events[0]?.number ?? 1;
      if (from > this.#lastEvent + 1) refuse('bad_field', { field: 'from' });
      if (from < oldest) refuse('event_gone', { oldest });
      for (const event of this.#events) {
        if (event.number >= from) this.hardware.send(event.bytes);
      }
      return { from, to: this.#lastEvent };
    },

    coefficients: ({ which }) => {
      const { memory } = this.hardware;
      if (which === 'in_force') return memory.inForce() ?? refuse('no_such_set');
      if (which === 'previous') return memory.previous() ?? refuse('no_such_set');
      if (!this.#staged) refuse('no_such_set');
      return { ...this.#staged.set, generation: 0, crc: setCrc(this.#staged.set) };
    },

    stage: (set) => {
      this.#staged = { set, checked: false };
      return { crc: setCrc(set) };
    },

    check: ({ crc }) => {
      if (!this.#staged) refuse('nothing_staged');
      if (crc !== setCrc(this.#staged.set)) refuse('crc_mismatch');
      this.#staged.checked = true;
      return { crc };
    },

    seal: ({ replaces, crc }) => {
      this.#mustReplace(replaces);
      if (!this.#staged?.checked) refuse('not_checked');
      if (crc !== setCrc(this.#staged.set)) refuse('crc_mismatch');
      const generation = this.hardware.memory.seal(this.#staged.set);
      this.#staged = undefined;
      return { generation };
    },

    revert: ({ replaces }) => {
      this.#mustReplace(replaces);
      const { memory } = this.hardware;
      return { generation: memory.seal(memory.previous() ?? refuse('no_such_set')) };
    },

    rename: ({ to }) => {
      const { serial, hardware, firmware } = this.declared();
      const texts = [serial, to, hardware, firmware];
      const length = texts.reduce((sum, text) => sum + encodedLength(text), 0);
      if (length > LIMITS.identityText) refuse('bad_field', { field: 'to' });
      this.hardware.kept.rename(to);
      return { name: to };
    },

    clock: ({ set }) => {
      const now = this.hardware.clock.now();
      if (set !== undefined) this.#clockSet = { utc: set, at: now };
      if (!this.#clockSet) return { utc: 0 };
      const passed = ((now - this.#clockSet.at) / 1000) * (1 + this.hardware.clockDrift() * 1e-6);
      return { utc: Math.floor(this.#clockSet.utc + passed) };
    },

    light: ({ set }) => {
      this.#light = set ?? this.#light;
      return { light: this.#light };
    },

    restart: () => {
      this.#restartSoon();
      return {};
    },

    settings: () => {
      const { count, revision, changed } = this.hardware.kept;
      return { count, revision, changed };
    },

    setting: ({ at }) => this.hardware.kept.at(at) ?? refuse('bad_field', { field: 'at' }),

    change: ({ name, value }) => {
      const { kept } = this.hardware;
      const field = kept.change(name, value);
      if (field !== undefined) refuse('bad_field', { field });
      return { name, value, changed: kept.changed };
    },

    adopt: ({ replaces }) => {
      const { kept } = this.hardware;
      if (replaces !== kept.revision) refuse('stale_generation', { generation: kept.revision });
      if (kept.changed === 0) refuse('nothing_staged');
      const restart = kept.adopt();
      return { revision: kept.revision, restart };
    },

    image: () => this.hardware.slots.report(),

    load: ({ size, crc }) => {
      const { slots } = this.hardware;
      if (slots.isSpareNeeded) refuse('busy');
      if (size > slots.report().slot) refuse('bad_field', { field: 'size' });
      return { written: slots.load(size, crc) };
    },

    put: ({ at, bytes }) => {
      const written = this.hardware.slots.put(at, bytes);
      if (written === 'nothing_staged') refuse(written);
      if (written === 'at') refuse('bad_field', { field: written });
      return { written };
    },

    verify: ({ crc }) => {
      const image = this.hardware.slots.verify(crc);
      if (image === 'nothing_staged' || image === 'crc_mismatch') refuse(image);
      if (typeof image === 'string') refuse('bad_field', { field: image });
      return { firmware: image.version };
    },

    swap: ({ crc }) => {
      const { slots } = this.hardware;
      if (slots.isSpareNeeded) refuse('busy');
      const image = slots.swap(crc);
      if (typeof image === 'string') refuse(image);
      this.#restartSoon();
      return { firmware: image.version };
    },

    confirm: ({ firmware }) => {
      const { slots, takeEffect } = this.hardware;
      if (firmware !== slots.running.version) refuse('bad_field', { field: 'firmware' });
      slots.confirm(takeEffect);
      return { firmware };
    },
  };

  /** Starts the board again, once the answer has left it. */
  #restartSoon(): void {
    this.hardware.clock.after(RESTART_MS, () => this.hardware.restart());
  }

  #mustReplace(generation: number): void {
    const inForce = this.hardware.memory.generation;
    if (generation !== inForce) refuse('stale_generation', { generation: inForce });
  }

  #mayStrain(): void {
    if (Firmware.isLow(this.hardware.volt())) refuse('low_power');
  }

  #mayCapture(): void {
    if (this.#abandon) refuse('busy');
    if (this.#mode !== 'collect') refuse('wrong_mode');
    const { readings } = this.hardware;
    if (readings.isFull || readings.lastGiven >= LIMITS.reading) refuse('memory_full');
  }

  /** Measures now; `then` gets the result when the capture's time is over. */
  #measure(then: (measurement: Measurement) => void): void {
    const measurement = this.hardware.measure();
    this.#abandon = this.hardware.clock.after(this.declared().captureMs, () => {
      this.#abandon = undefined;
      then(measurement);
    });
  }

  /** Stores a reading, then tells of it: in this order power may fail anywhere, and no number is told in vain. */
  #keep(measurement: Measurement): number {
    const { memory, readings } = this.hardware;
    const fields = EVENTS.reading.write({
      reading: readings.lastGiven + 1,
      generation: memory.generation,
      ...this.#reading(measurement),
    });
    // Kept with the decimals that are sent, so that a recall says the same as the event did.
    const reading: BoardReading = EVENTS.reading.read(fields as Fields);
    readings.store(reading);
    this.#emit('reading', reading);
    return reading.reading;
  }

  #reading({ acc, mag, temperature, voltSaid, range }: Measurement): SensedReading {
    if (acc.saturated || mag.saturated) refuse('saturated');
    const inForce = this.hardware.memory.inForce();
    return {
      tMs: Math.floor(this.hardware.clock.now() - this.#startedAt),
      acc: acc.mean,
      mag: mag.mean,
      accScatter: acc.scatter,
      magScatter: mag.scatter,
      samples: SAMPLES,
      temperature,
      volt: voltSaid ?? this.hardware.volt(),
      ...(inForce && boardAngles(inForce, { acc: acc.mean, mag: mag.mean })),
      ...(range === undefined ? {} : { range }),
    };
  }

  #emit<K extends EventKind>(kind: K, event: EventOf<K>): void {
    const message = EVENTS[kind] as unknown as { write(value: EventOf<K>): FieldValues };
    const number = ++this.#lastEvent;
    const bytes = formatEvent(number, kind, message.write(event));
    this.#events.push({ number, bytes });
    if (this.#events.length > EVENTS_KEPT) this.#events.shift();
    this.hardware.send(bytes);
  }
}
