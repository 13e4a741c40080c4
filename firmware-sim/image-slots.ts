import { ed25519 } from '@noble/curves/ed25519.js';
import type { ImageReport } from '../src/protocol/care-messages.ts';
import { crc32 } from '../src/protocol/crc.ts';
import { hexWord } from '../src/protocol/fields.ts';
import {
  type FirmwareImage,
  formatImage,
  parseImage,
  signedPart,
} from '../src/protocol/firmware-image.ts';
import { LatestOfTwo, type NonVolatile } from './non-volatile.ts';

/** Two slots for firmware, and which of them runs (SPEC.md, section 4.6). */

/** What the first byte of a program makes the simulated board do, once it runs. */
export const CONDUCT = { healthy: 0, silent: 1, restarting: 2 } as const;

/** How a board takes firmware. */
export interface Taking {
  /** The hardware that an image must fit. */
  hardware: string;
  /** Bytes of a slot. */
  slot: number;
  /** The Ed25519 public key that signatures must fit; absent where none is demanded. */
  key?: Uint8Array;
}

/** Seconds that a trial lasts at most. */
export const TRIAL_SECONDS = 120;

const FACTORY_VERSION = '1.0';

/*
 *   0    which slot runs, and in what phase, twice
 *   64   what is on its way into the spare slot, twice
 *   128  the two slots
 */
const RUNS = { at: 0, size: 32 };
const COMING = { at: 64, size: 32 };
const SLOTS_AT = 128;

/** What is written of the start: steady; the spare one is to be tried; it is being tried; its confirmation is under way. */
const PHASES = ['steady', 'pending', 'trial', 'confirming'] as const;
type Phase = (typeof PHASES)[number];

export const imageSlotsSize = ({ slot }: Taking): number => SLOTS_AT + 2 * slot;

/** Puts the firmware that the maker ships into a blank memory, at `at`. */
export function fitFactoryImage(memory: Uint8Array, at: number, { hardware }: Taking): void {
  const program = Uint8Array.of(CONDUCT.healthy);
  memory.set(formatImage({ hardware, version: FACTORY_VERSION, program }), at + SLOTS_AT);
}

export class ImageSlots {
  readonly #runs: LatestOfTwo;
  readonly #coming: LatestOfTwo;
  /** Of the image on its way, how many bytes came since the start. */
  #written = 0;

  /** @param at where in the memory it begins */
  constructor(
    private readonly bytes: NonVolatile,
    private readonly at: number,
    private readonly taking: Taking,
  ) {
    this.#runs = new LatestOfTwo(bytes, at + RUNS.at, RUNS.size);
    this.#coming = new LatestOfTwo(bytes, at + COMING.at, COMING.size);
  }

  /**
   * Decides at a start which slot runs: tries the new firmware, or undoes a trial that was not confirmed.
   *
   * @param finish carries out what the running firmware does on confirmation, if power failed in that
   * @throws PowerLoss
   */
  start(finish: (image: FirmwareImage) => void): void {
    const phase = this.#phase;
    if (phase === 'pending') {
      const isWhole = this.#imageIn(this.#spareSlot) !== undefined;
      if (isWhole) this.#decide(this.#spareSlot, 'trial');
      else this.#decide(this.#activeSlot, 'steady');
    } else if (phase === 'trial') {
      this.#decide(this.#spareSlot, 'steady');
    } else if (phase === 'confirming') {
      this.#confirmed(finish);
    }
  }

  /** The firmware that runs. */
  get running(): FirmwareImage {
    const image = this.#imageIn(this.#activeSlot);
    if (!image) throw new Error('The running slot holds no firmware.');
    return image;
  }

  get onTrial(): boolean {
    return this.#phase === 'trial';
  }

  /** Whether the spare slot is needed as it is: for the way back, or for the next start. */
  get isSpareNeeded(): boolean {
    return this.#phase !== 'steady';
  }

  report(): ImageReport {
    const { key, slot } = this.taking;
    const about = {
      slot,
      running: this.running.version,
      trial: this.onTrial,
      trialSeconds: TRIAL_SECONDS,
      ...(key && { key: hexOf(key) }),
    };
    const coming = this.#comingImage();
    if (coming) {
      const state = this.#written === coming.size ? ('whole' as const) : ('partial' as const);
      return { ...about, state, ...coming, written: this.#written };
    }
    const spare = this.#imageIn(this.#spareSlot);
    if (!spare) return { ...about, state: 'empty' };
    const { size, crc, version } = spare;
    const state = this.#phase === 'pending' ? ('pending' as const) : ('checked' as const);
    return { ...about, state, size, crc, written: size, spare: version };
  }

  /** Makes ready for an image, unless it is there; how much of it is. `size` must fit the slot. @throws PowerLoss */
  load(size: number, crc: string): number {
    const { state, size: held, crc: heldCrc, written } = this.report();
    if (state !== 'empty' && held === size && heldCrc === crc) return written!;
    this.#coming.write((body) => {
      body.setUint32(0, size);
      body.setUint32(4, parseInt(crc, 16));
    });
    this.#written = 0;
    return 0;
  }

  /** Writes bytes of the image on its way; how much of it is there then, or why not. @throws PowerLoss */
  put(at: number, bytes: Uint8Array): number | 'nothing_staged' | 'at' {
    const coming = this.#comingImage();
    if (!coming) return 'nothing_staged';
    if (at + bytes.length <= this.#written) return this.#written;
    if (at !== this.#written || at + bytes.length > coming.size) return 'at';
    this.bytes.write(this.#slotAt(this.#spareSlot) + at, bytes);
    this.#written += bytes.length;
    return this.#written;
  }

  /** Checks the image that came; its version, or why it will not do. @throws PowerLoss */
  verify(
    crc: string,
  ): FirmwareImage | 'nothing_staged' | 'crc_mismatch' | 'header' | 'hardware' | 'signature' {
    const coming = this.#comingImage();
    if (!coming) {
      const spare = this.#imageIn(this.#spareSlot);
      if (!spare) return 'nothing_staged';
      return spare.crc === crc ? spare : 'crc_mismatch';
    }
    const file = this.#file(this.#spareSlot, coming.size);
    const isIt =
      this.#written === coming.size && crc === coming.crc && crc === hexWord(crc32(file));
    if (!isIt) return 'crc_mismatch';
    const image = parseImage(file);
    if (typeof image === 'string') return 'header';
    if (image.hardware !== this.taking.hardware) return 'hardware';
    if (!this.#isSigned(file, image)) return 'signature';
    this.#coming.write((body) => body.setUint32(0, 0));
    return image;
  }

  /** Marks the checked image to run at the next start; its version, or why not. @throws PowerLoss */
  swap(crc: string): FirmwareImage | 'not_checked' | 'crc_mismatch' {
    const spare = this.#comingImage() ? undefined : this.#imageIn(this.#spareSlot);
    if (!spare) return 'not_checked';
    if (spare.crc !== crc) return 'crc_mismatch';
    this.#decide(this.#activeSlot, 'pending');
    return spare;
  }

  /**
   * Ends the trial.
   *
   * @param finish does what the firmware does on confirmation; may be called again if power fails in it
   * @throws PowerLoss
   */
  confirm(finish: (image: FirmwareImage) => void): void {
    if (!this.onTrial) return;
    this.#decide(this.#activeSlot, 'confirming');
    this.#confirmed(finish);
  }

  #confirmed(finish: (image: FirmwareImage) => void): void {
    finish(this.running);
    this.#decide(this.#activeSlot, 'steady');
  }

  get #activeSlot(): number {
    return this.#runs.body()?.getUint8(0) ?? 0;
  }

  get #spareSlot(): number {
    return 1 - this.#activeSlot;
  }

  get #phase(): Phase {
    return PHASES[this.#runs.body()?.getUint8(1) ?? 0]!;
  }

  #decide(active: number, phase: Phase): void {
    this.#runs.write((body) => {
      body.setUint8(0, active);
      body.setUint8(1, PHASES.indexOf(phase));
    });
  }

  /** What is on its way into the spare slot. */
  #comingImage(): { size: number; crc: string } | undefined {
    const body = this.#coming.body();
    const size = body?.getUint32(0) ?? 0;
    return size === 0 ? undefined : { size, crc: hexWord(body!.getUint32(4)) };
  }

  #slotAt(slot: number): number {
    return this.at + SLOTS_AT + slot * this.taking.slot;
  }

  #file(slot: number, size: number): Uint8Array {
    const { buffer, byteOffset } = this.bytes.view(this.#slotAt(slot), size);
    return new Uint8Array(buffer, byteOffset, size);
  }

  /** The image in a slot, if a whole one is there. */
  #imageIn(slot: number): FirmwareImage | undefined {
    const room = this.#file(slot, this.taking.slot);
    const signed = room[40] === 1 ? 64 : 0;
    const size = signedPart(room).length + signed;
    const image = parseImage(room.subarray(0, size));
    return typeof image === 'string' ? undefined : image;
  }

  #isSigned(file: Uint8Array, { signature }: FirmwareImage): boolean {
    const { key } = this.taking;
    if (!key) return true;
    return signature !== undefined && ed25519.verify(signature, signedPart(file), key);
  }
}

const hexOf = (bytes: Uint8Array): string =>
  Array.from(bytes, (byte) => byte.toString(16).padStart(2, '0'))
    .join('')
    .toUpperCase();
