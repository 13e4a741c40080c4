import type { Clock } from '../src/protocol/clock.ts';
import type { CoefficientSet } from '../src/protocol/coefficient-set.ts';
import type { FirmwareImage } from '../src/protocol/firmware-image.ts';
import { setCrc } from '../src/protocol/messages.ts';
import { rangeCorrection } from '../src/protocol/range-settings.ts';
import { LinkError, type LinkListener } from '../src/protocol/link.ts';
import type {
  HeldAim,
  SimulatorControl,
  SimulatorSettings,
  TrueReading,
} from '../src/protocol/simulator.ts';
import { type Ailment, AILMENTS, FollowingLate } from './board-faults.ts';
import { type Declared, Firmware, type Measurement } from './firmware.ts';
import { Hand } from './hand.ts';
import { Wire } from './link-faults.ts';
import {
  CONDUCT,
  fitFactoryImage,
  ImageSlots,
  imageSlotsSize,
  type Taking,
} from './image-slots.ts';
import { KEPT_SETTINGS_SIZE, KeptSettings } from './kept-settings.ts';
import {
  BoardMemory,
  isOwnedBy,
  own,
  type Readings,
  readingsEnd,
  RingOfReadings,
} from './memory.ts';
import { NonVolatile, PowerLoss } from './non-volatile.ts';
import { type Random, randomStream } from './random.ts';
import {
  type Averaged,
  type Chip,
  drawChip,
  exactCounts,
  perfectChip,
  REFERENCE_TEMPERATURE,
  sampleAndAverage,
  SAMPLES,
  type Tolerances,
} from './sensors.ts';
import { checkSettings, mustLie, serialOf } from './settings.ts';
import {
  attitudeRotation,
  cleanField,
  DOWN,
  drawSteel,
  type Field,
  fieldAt,
  inBody,
  rotationAbout,
  sightOf,
  type Triple,
} from './world.ts';

/** How the board is built. */
export interface Build {
  name: string;
  /** How many readings its memory holds. */
  places: number;
  /** Whether readings survive loss of power; if not, the latest `places` of them are held in a ring. */
  keepsReadings: boolean;
  captureMs: number;
  /** The most bytes it takes in one write. */
  chunk: number;
  /** Whether it says how its chips sit. */
  declaresMounting: boolean;
  /** Whether its chips are without any fault. */
  perfect: boolean;
  hasTrigger: boolean;
  hasRange: boolean;
  hasLight: boolean;
  hasClock: boolean;
  /** Whether it has settings that a host may change. */
  hasSettings: boolean;
  /** Whether it takes new firmware over the link. */
  takesImages: boolean;
  /** The Ed25519 public key that firmware must be signed for; absent where none is demanded. */
  signingKey?: Uint8Array;
}

export const ordinaryBuild: Build = {
  name: 'Simulated board',
  places: 250,
  keepsReadings: true,
  captureMs: 300,
  chunk: 128,
  declaresMounting: true,
  perfect: false,
  hasTrigger: true,
  hasRange: false,
  hasLight: true,
  hasClock: true,
  hasSettings: true,
  takesImages: true,
};

/** What memory reads that was never written. */
const BLANK = 0xff;
const HARDWARE = 'simulated 1';
/** Bytes of a slot for firmware: enough for what a test sends, and little enough to be copied at every change. */
const SLOT = 8192;

/** What goes on around the board, and what is odd about it, beyond what the settings offer. */
export interface Quirks {
  /** Degrees Celsius. */
  temperature: number;
  /** Strength of the field, of the nominal one. */
  fieldStrength: number;
  volt: number;
  /** By how much its clock runs fast, parts in a million. */
  clockDrift: number;
  /** How fast the hand still turns during a reading, about each axis: standard deviation, degrees a second. */
  tremor: number;
  /** By how much the magnetometer lags behind the accelerometer, milliseconds. */
  magLagMs: number;
  /** Cubic part of the accelerometer, of 1 g cubed. */
  cubic: number;
  /** What its range module adds, metres, and is off in scale, parts in a million; absent: as its seed has it. */
  rangeError?: { constant: number; scale: number };
  /** A knock that moves the hard iron by a part of the nominal field, once this reading has been taken. */
  jolt?: { afterReading: number; shift: number };
  /** A firmware with bad manners: never answers, answers late, or says everything twice. */
  manners: { silent: boolean; lateMs: number; twice: boolean };
  /** What it says leaves it as noise, as it does at another speed than the host's. */
  garbled: boolean;
  /** How long it runs before it starts again by itself, milliseconds; 0 for ever. */
  restartsEveryMs: number;
}

export const noQuirks: Quirks = {
  temperature: REFERENCE_TEMPERATURE,
  fieldStrength: 1,
  volt: 3.9,
  clockDrift: 20,
  tremor: 0,
  magLagMs: 0,
  cubic: 0,
  manners: { silent: false, lateMs: 0, twice: false },
  garbled: false,
  restartsEveryMs: 0,
};

export interface BoardOptions {
  build?: Partial<Build>;
  quirks?: Partial<Quirks>;
  /** What {@link SimulatedBoard.memoryImage} gave. The memory of another board (or no memory at all) is not taken over. */
  saved?: Uint8Array;
  /** Gets a copy of the kept memory after each change. */
  onMemory?: (image: Uint8Array) => void;
}

/** The board's end of an open link. */
export interface Port {
  /** @throws RangeError if there is more than the board takes in one write */
  send(bytes: Uint8Array): void;
  close(): void;
}

/** Counts in 1 g and in the nominal field: 16 bits over ±2 g, and about ±9.6 nominal fields. */
const ACC_SCALE = 16384;
const MAG_SCALE = 3400;

const ACC_TOLERANCES: Tolerances = {
  offset: 0.05,
  gain: 0.05,
  cross: 0.02,
  askew: 1.5,
  drift: 0.0003,
};
const MAG_TOLERANCES: Tolerances = {
  offset: 0.3,
  gain: 0.05,
  cross: 0.02,
  askew: 1.5,
  drift: 0.0008,
};

/** The coefficients that new firmware may bring along: chips taken to be perfect, and to sit along the body's axes. */
const MAKERS_SET: CoefficientSet = {
  model: 'straight',
  values: [
    ...[ACC_SCALE, MAG_SCALE],
    ...[0, 0, 0, 1, 0, 0, 0, 1, 0, 0, 0, 1],
    ...[0, 0, 0, 1, 0, 0, 0, 1, 0, 0, 0, 1],
  ],
};

/** Milliseconds that firmware with such a fault runs. */
const RESTARTS_AFTER = 400;

/** The golden section. */
const GOLDEN = (Math.sqrt(5) - 1) / 2;

/** Metres from the instrument to whatever it is aimed at, where nobody says how far. */
const USUAL_DISTANCE = 5;
/** What a range module is off by: standard deviation of a range, metres, and the most of what a maker leaves in it. */
const RANGE_NOISE = 0.002;
const RANGE_TOLERANCES = { constant: 0.03, scale: 1500 };

/**
 * A board in software: a world around it, a hand that holds it, chips, kept memory, firmware, and a link that may
 * misbehave. The same settings, the same saved memory and the same actions give the same bytes.
 */
export class SimulatedBoard implements SimulatorControl {
  readonly #clock: Clock;
  readonly #build: Build;
  readonly #onMemory: (image: Uint8Array) => void;
  #settings: SimulatorSettings;
  #quirks: Quirks;
  /** How far the person has walked to one side, metres. */
  #aside = 0;
  /** Metres to what it is aimed at. */
  #distance = USUAL_DISTANCE;

  #hand!: Hand;
  #steel!: Triple;
  #acc!: Chip;
  #mag!: Chip;
  #jolt!: Triple;
  #noise!: Record<'acc' | 'mag' | 'range' | 'said' | 'fault', Random>;
  /** What comes behind, where a chip does. */
  #late!: { acc?: FollowingLate; mag?: FollowingLate };
  #tearing!: Random;

  #bytes!: NonVolatile;
  #memory!: BoardMemory;
  #readings!: Readings;
  #kept!: KeptSettings;
  #slots!: ImageSlots;
  /** Absent while there is no power. */
  #firmware: Firmware | undefined;
  #connection: Connection | undefined;
  #connections = 0;

  /** @throws RangeError for a setting out of its range */
  constructor(settings: SimulatorSettings, clock: Clock, options: BoardOptions = {}) {
    checkSettings(settings);
    this.#settings = structuredClone(settings);
    this.#clock = clock;
    this.#build = { ...ordinaryBuild, ...options.build };
    this.#quirks = { ...noQuirks, ...options.quirks };
    this.#onMemory = options.onMemory ?? (() => {});
    this.#assemble(options.saved);
  }

  /* The hand and the knobs: SimulatorControl. */

  async hold(aim: HeldAim): Promise<void> {
    for (const name of ['azimuth', 'inclination', 'roll'] as const) {
      mustLie(name, aim[name], -3600, 3600);
    }
    const { distance = USUAL_DISTANCE } = aim;
    mustLie('distance', distance, 0, 900);
    this.#distance = distance;
    const { aim: aimError, rollAim } = this.#settings;
    this.#catchUp();
    this.#hand.hold(aim, { aim: aimError, roll: rollAim, tremor: this.#quirks.tremor });
  }

  async walk(metres: number): Promise<void> {
    mustLie('metres', metres, -100, 100);
    this.#aside = metres;
  }

  /** Presses the trigger; the reading, or why there is none, comes as an event. */
  async press(): Promise<void> {
    if (!this.#build.hasTrigger) throw new Error('this board has no trigger');
    this.#powered((firmware) => firmware.press());
  }

  async settings(): Promise<SimulatorSettings> {
    return structuredClone(this.#settings);
  }

  /** @throws RangeError for a setting out of its range; nothing is changed then */
  async adjust(change: Partial<SimulatorSettings>): Promise<void> {
    const wanted = structuredClone({ ...this.#settings, ...change });
    checkSettings(wanted);
    const isOther = serialOf(wanted) !== this.#serial;
    this.#settings = wanted;
    if (isOther) {
      this.#drop('the simulated board was exchanged for another');
      this.#assemble(undefined);
      this.#onMemory(this.memoryImage());
    } else {
      this.#makeChips();
    }
  }

  async truth(count: number): Promise<readonly TrueReading[]> {
    mustLie('count', count, 1, 100_000);
    const field = cleanField(this.#field());
    return Array.from({ length: count }, (_, i) => {
      // Directions on a spiral that covers the sphere evenly by area; steps by the golden section never fall in
      // step with the turn, nor those of the roll (by the square root of two) with them.
      const inclination = (Math.asin(1 - (2 * i + 1) / count) * 180) / Math.PI;
      const azimuth = 360 * ((i * GOLDEN) % 1);
      const roll = 360 * ((i * Math.SQRT2) % 1);
      const rotation = attitudeRotation({ azimuth, inclination, roll });
      return {
        azimuth,
        inclination,
        roll,
        acc: exactCounts(this.#acc, inBody(rotation, DOWN), this.#quirks.temperature),
        mag: exactCounts(this.#magNow(), inBody(rotation, field), this.#quirks.temperature),
      };
    });
  }

  /* The link. */

  /** Opens the board's one link. */
  connect(listener: LinkListener): Port {
    if (this.#connection) throw new LinkError('in_use', 'the simulated board is connected already');
    if (!this.#firmware) throw new Error('the simulated board has no power');
    const connection = new Connection(
      { seed: this.#settings.seed, name: `link ${++this.#connections}`, clock: this.#clock },
      () => this.#settings.faults,
      listener,
      (bytes) => this.#powered((firmware) => firmware.receive(bytes)),
      () => (this.#connection = undefined),
    );
    this.#connection = connection;
    const isOpen = (): boolean => this.#connection === connection;
    return {
      send: (bytes) => {
        if (!isOpen()) throw new Error('the link to the simulated board is closed');
        if (bytes.length > this.#build.chunk) {
          throw new RangeError(
            `the simulated board takes ${this.#build.chunk} bytes in one write, not ${bytes.length}`,
          );
        }
        connection.toBoard.send(bytes);
      },
      close: () => {
        if (!isOpen()) return;
        this.#connection = undefined;
        connection.end();
      },
    };
  }

  /** The link is to drop once this many more bytes have been carried, either way; 0 drops it now. */
  dropAfter(bytes: number): void {
    if (bytes === 0) this.#drop('the link to the simulated board dropped');
    else this.#connection?.dropAfter(bytes);
  }

  /* Power, memory and oddities. */

  /** A copy of the kept memory, to start the same board with another time. */
  memoryImage(): Uint8Array {
    return this.#bytes.image();
  }

  /** How many bytes were written to the kept memory since the board was made. */
  get memoryWrites(): number {
    return this.#bytes.writes;
  }

  get hasPower(): boolean {
    return this.#firmware !== undefined;
  }

  /**
   * Power is to fail in the midst of the `n`-th write to the kept memory from now, tearing it. The link drops with it.
   * Infinity takes back a cut that did not come.
   */
  cutPowerAtWrite(n: number): void {
    this.#bytes.cutAtWrite(n, this.#tearing);
  }

  /** Power fails now. What the board has sent before has left it, and still arrives. */
  cutPower(): void {
    this.#firmware = undefined;
    this.#connection?.toHost.flush();
    this.#drop('the simulated board lost its power');
  }

  /** Switches the board off, if it is on, and on again: the firmware starts afresh from the kept memory. */
  restart(): void {
    this.cutPower();
    this.#powerUp();
  }

  /** Changes what goes on around the board. */
  quirk(change: Partial<Quirks>): void {
    const before = this.#quirks.volt;
    this.#quirks = { ...this.#quirks, ...change };
    this.#makeChips();
    if (change.restartsEveryMs !== undefined) this.#restartInTime();
    if (!Firmware.isLow(before) && Firmware.isLow(this.#quirks.volt)) {
      this.#powered((firmware) => firmware.supplyFell());
    }
  }

  get #serial(): string {
    return serialOf(this.#settings);
  }

  /** Puts a board together: everything that follows from the seed, and its memory. */
  #assemble(saved: Uint8Array | undefined): void {
    const { seed } = this.#settings;
    this.#bytes = new NonVolatile(this.#memoryFrom(saved), () =>
      this.#onMemory(this.memoryImage()),
    );
    this.#steel = drawSteel(randomStream(seed, 'steel'));
    const knock = randomStream(seed, 'jolt');
    this.#jolt = inBody(
      rotationAbout([knock.between(0, 180), knock.between(0, 180), knock.between(0, 180)]),
      [1, 0, 0],
    );
    this.#makeChips();
    this.#powerUp();
    // What happens after a reload is new: its noise must not repeat that of the readings already taken.
    const stream = (name: string): Random =>
      randomStream(seed, `${name} after ${this.#memory.lastGiven}`);
    this.#hand = new Hand({ aim: stream('aim'), roll: stream('roll'), tremor: stream('tremor') });
    this.#noise = {
      ...{ acc: stream('acc noise'), mag: stream('mag noise'), range: stream('range') },
      said: stream('said'),
      fault: stream('fault'),
    };
    this.#tearing = stream('tearing');
  }

  /** The memory that it had, or one as the maker ships it. One of an earlier kind, that ends with the readings, will do. */
  #memoryFrom(saved: Uint8Array | undefined): Uint8Array {
    const readings = readingsEnd(this.#build.places);
    const slots = readings + KEPT_SETTINGS_SIZE;
    const image = new Uint8Array(slots + imageSlotsSize(this.#taking)).fill(BLANK);
    own(image, this.#serial);
    fitFactoryImage(image, slots, this.#taking);
    const isMine = saved && isOwnedBy(this.#serial, saved);
    if (isMine && [readings, image.length].includes(saved.length)) image.set(saved);
    return image;
  }

  get #hasRange(): boolean {
    return this.#build.hasRange || this.#settings.hasRange === true;
  }

  get #taking(): Taking {
    const { signingKey: key } = this.#build;
    return { hardware: HARDWARE, slot: SLOT, ...(key && { key }) };
  }

  #makeChips(): void {
    const { seed, accMounting, magMounting, curvature } = this.#settings;
    const chip = (name: string, mounting: string, scale: number, t: Tolerances, bend: number) =>
      this.#build.perfect
        ? perfectChip(mounting, scale)
        : drawChip(randomStream(seed, name), mounting, scale, t, bend);
    const { acc: accAils, mag: magAils } = this.#ailment;
    const asIs = (chip: Chip): Chip => chip;
    this.#acc = (accAils?.built ?? asIs)({
      ...chip('accelerometer', accMounting, ACC_SCALE, ACC_TOLERANCES, curvature),
      cubic: this.#quirks.cubic,
    });
    this.#mag = (magAils?.built ?? asIs)(
      chip('magnetometer', magMounting, MAG_SCALE, MAG_TOLERANCES, 0),
    );
    this.#late = {
      ...(accAils?.lateMs !== undefined && { acc: new FollowingLate(accAils.lateMs) }),
      ...(magAils?.lateMs !== undefined && { mag: new FollowingLate(magAils.lateMs) }),
    };
  }

  /** What is wrong with the board, by its settings. */
  get #ailment(): Ailment {
    return AILMENTS[this.#settings.boardFault ?? 'none'];
  }

  /** Starts the firmware; power may fail in that too. */
  #powerUp(): void {
    try {
      this.#start();
    } catch (error) {
      if (!(error instanceof PowerLoss)) throw error;
      this.cutPower();
    }
  }

  #start(): void {
    const { places, hasLight, hasClock, name } = this.#build;
    this.#memory = new BoardMemory(this.#bytes, places);
    const end = readingsEnd(places);
    this.#kept = new KeptSettings(
      this.#bytes,
      end,
      { light: hasLight, range: this.#hasRange },
      name,
    );
    this.#slots = new ImageSlots(this.#bytes, end + KEPT_SETTINGS_SIZE, this.#taking);
    this.#slots.start((image) => this.#takeEffect(image));
    this.#readings = this.#build.keepsReadings
      ? this.#memory
      : new RingOfReadings(this.#memory, this.#build.places);
    const clock: Clock = {
      now: () => this.#clock.now(),
      after: (ms, task) =>
        this.#clock.after(ms, () => {
          if (this.#firmware === firmware) this.#powered(task);
        }),
    };
    const firmware = new Firmware(
      {
        clock,
        memory: this.#memory,
        readings: this.#readings,
        kept: this.#kept,
        slots: this.#slots,
        has: { light: hasLight, clock: hasClock },
        clockDrift: () => this.#quirks.clockDrift,
        restart: () => this.restart(),
        takeEffect: (image) => this.#takeEffect(image),
        measure: () => this.#measure(),
        volt: () => this.#ailment.volt ?? this.#quirks.volt,
        send: (bytes) => this.#say(bytes, clock),
      },
      () => this.#declared(),
    );
    this.#firmware = firmware;
    const isRestarting = this.#slots.running.program[0] === CONDUCT.restarting;
    if (isRestarting) clock.after(RESTARTS_AFTER, () => this.restart());
    this.#restartInTime();
  }

  /** Starts it again after its time, if it has one. */
  #restartInTime(): void {
    const { restartsEveryMs } = this.#quirks;
    if (restartsEveryMs === 0) return;
    const firmware = this.#firmware;
    this.#clock.after(restartsEveryMs, () => {
      const isDue = this.#quirks.restartsEveryMs === restartsEveryMs;
      if (firmware && this.#firmware === firmware && isDue) this.restart();
    });
  }

  /** What the firmware in the running slot does when it is confirmed. */
  #takeEffect({ resetsSettings, replacesCoefficients }: FirmwareImage): void {
    if (resetsSettings) this.#kept.reset();
    const isIn = this.#memory.inForce()?.crc === setCrc(MAKERS_SET);
    if (replacesCoefficients && !isIn) this.#memory.seal(MAKERS_SET);
  }

  #declared(): Declared {
    const { accNoise, magNoise, accMounting, magMounting } = this.#settings;
    const { chunk, captureMs, declaresMounting, keepsReadings, hasTrigger } = this.#build;
    const { hasSettings, takesImages } = this.#build;
    return {
      serial: this.#serial,
      name: this.#kept.name,
      hardware: HARDWARE,
      firmware: this.#slots.running.version,
      capabilities: [
        ...(keepsReadings ? ['kept'] : []),
        ...(this.#hasRange ? ['range'] : []),
        ...(hasTrigger ? ['trigger'] : []),
        ...(hasSettings ? ['settings'] : []),
        ...(takesImages ? ['image'] : []),
      ],
      accScale: ACC_SCALE,
      magScale: MAG_SCALE,
      ...(declaresMounting ? { accMounting, magMounting } : {}),
      // A maker states a figure for the chip; a chip without noise still counts in whole numbers.
      accNoise: Math.max(0.1, (accNoise / 1000) * ACC_SCALE),
      magNoise: Math.max(0.1, (magNoise / 100) * MAG_SCALE),
      chunk,
      captureMs,
    };
  }

  #field(): Field {
    const { dip, disturbance } = this.#settings;
    return { dip, strength: this.#quirks.fieldStrength, disturbance: disturbance / 100 };
  }

  /** The magnetometer as it is now, before or after the jolt. */
  #magNow(): Chip {
    const { jolt } = this.#quirks;
    if (!jolt || this.#readings.lastGiven < jolt.afterReading) return this.#mag;
    const [x, y, z] = this.#mag.offset;
    const [dx, dy, dz] = this.#jolt;
    const offset: Triple = [x + jolt.shift * dx, y + jolt.shift * dy, z + jolt.shift * dz];
    return { ...this.#mag, offset };
  }

  /** Exact counts of each chip, so many milliseconds after the middle of a reading. */
  #countsAt(): Record<'acc' | 'mag', (ms: number) => Triple> {
    const { temperature, magLagMs } = this.#quirks;
    const field = this.#field();
    const mag = this.#magNow();
    return {
      acc: (ms) => exactCounts(this.#acc, inBody(this.#hand.rotationAt(ms), DOWN), temperature),
      mag: (ms) => {
        const rotation = this.#hand.rotationAt(ms - magLagMs);
        const there = fieldAt(field, this.#steel, sightOf(rotation), this.#aside);
        return exactCounts(mag, inBody(rotation, there), temperature);
      },
    };
  }

  #measure(): Measurement {
    const { accNoise, magNoise } = this.#settings;
    const { voltSaid, temperatureSaid } = this.#ailment;
    const countsAt = this.#countsAt();
    return {
      acc: this.#sampled('acc', countsAt.acc, (accNoise / 1000) * ACC_SCALE, ACC_SCALE),
      mag: this.#sampled('mag', countsAt.mag, (magNoise / 100) * MAG_SCALE, MAG_SCALE),
      temperature: temperatureSaid ?? this.#quirks.temperature,
      ...(voltSaid !== undefined && { voltSaid }),
      ...(this.#hasRange ? { range: this.#ranged() } : {}),
    };
  }

  /** One reading of a chip, with what ails it. */
  #sampled(
    chip: 'acc' | 'mag',
    countsAt: (ms: number) => Triple,
    noise: number,
    scale: number,
  ): Averaged {
    const { trembles = 0, noiseTimes = 1, told } = this.#ailment[chip] ?? {};
    const { captureMs } = this.#build;
    const now = this.#clock.now();
    const exact = Array.from({ length: SAMPLES }, (_, i): Triple => {
      const part = (i + 0.5) / SAMPLES;
      const there = countsAt((part - 0.5) * captureMs);
      const [x, y, z] = this.#late[chip]?.follow(there, now + part * captureMs) ?? there;
      if (trembles === 0) return [x, y, z];
      return [x, y + trembles * noise * Math.sqrt(SAMPLES) * this.#noise.fault.normal(), z];
    });
    const tells = told && ((whole: number, axis: number) => told(whole, axis, scale));
    return sampleAndAverage(exact, noise * noiseTimes, this.#noise[chip], tells);
  }

  /** A chip that comes behind has followed the board until now. */
  #catchUp(): void {
    const countsAt = this.#countsAt();
    for (const chip of ['acc', 'mag'] as const) {
      this.#late[chip]?.follow(countsAt[chip](0), this.#clock.now());
    }
  }

  /** What the module measures, with what is wrong with it, and then what the settings make of that (SPEC.md, 4.5.1). */
  #ranged(): number {
    const { constant, scale } = this.#quirks.rangeError ?? this.#drawnRangeError();
    const noise = RANGE_NOISE * this.#noise.range.normal();
    const measured = this.#distance * (1 + scale / 1e6) + constant + noise;
    const set = rangeCorrection(this.#kept.all());
    const said = set ? measured * (1 + set.scale / 1e6) + set.constant : measured;
    return Math.max(0, said);
  }

  #drawnRangeError(): { constant: number; scale: number } {
    if (this.#build.perfect) return { constant: 0, scale: 0 };
    const drawn = randomStream(this.#settings.seed, 'range module');
    // neither is ever so small that nobody could find it
    const some = (most: number) => (drawn.uniform() < 0.5 ? -1 : 1) * drawn.between(most / 2, most);
    const { constant, scale } = RANGE_TOLERANCES;
    return { constant: some(constant), scale: some(scale) };
  }

  #say(bytes: Uint8Array, clock: Clock): void {
    const { silent, lateMs, twice } = this.#quirks.manners;
    if (silent || this.#slots.running.program[0] === CONDUCT.silent) return;
    const said = this.#quirks.garbled ? bytes.map(() => this.#noise.said.below(256)) : bytes;
    const say = (): void => {
      this.#connection?.toHost.send(said);
      if (twice) this.#connection?.toHost.send(said);
    };
    if (lateMs > 0) clock.after(lateMs, say);
    else say();
  }

  /** Runs something on the firmware, if there is power; power may fail in it. */
  #powered(task: (firmware: Firmware) => void): void {
    if (!this.#firmware) return;
    try {
      task(this.#firmware);
    } catch (error) {
      if (!(error instanceof PowerLoss)) throw error;
      this.cutPower();
    }
  }

  #drop(reason: string): void {
    const connection = this.#connection;
    this.#connection = undefined;
    connection?.end();
    connection?.listener.closed(new LinkError('gone', reason));
  }
}

/** Both directions of one open link. */
class Connection {
  readonly toBoard: Wire;
  readonly toHost: Wire;
  #left = Infinity;

  constructor(
    wire: { seed: number; name: string; clock: Clock },
    rates: () => SimulatorSettings['faults'],
    readonly listener: LinkListener,
    receive: (bytes: Uint8Array) => void,
    private readonly onDrop: () => void,
  ) {
    const make = (to: string, deliver: (bytes: Uint8Array) => void): Wire =>
      new Wire(wire.seed, `${wire.name} to ${to}`, wire.clock, rates, (bytes) =>
        this.#carry(bytes, deliver),
      );
    this.toBoard = make('board', receive);
    this.toHost = make('host', (bytes) => listener.bytes(bytes.slice()));
  }

  dropAfter(bytes: number): void {
    this.#left = bytes;
  }

  end(): void {
    this.toBoard.clear();
    this.toHost.clear();
  }

  #carry(bytes: Uint8Array, deliver: (bytes: Uint8Array) => void): void {
    const through = bytes.subarray(0, this.#left);
    this.#left -= through.length;
    const drops = this.#left === 0;
    deliver(through);
    if (drops) {
      this.end();
      this.onDrop();
      this.listener.closed(new LinkError('gone', 'the link to the simulated board dropped'));
    }
  }
}
