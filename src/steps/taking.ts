import type { Board, BoardReading } from '../protocol/board.ts';
import type { CaptureAim, Entry, TakenReading } from '../records/entries.ts';
import { aimWords, messageOf } from './bench-words.ts';
import {
  freeId,
  holds,
  openSlots,
  provesNow,
  type CalibrationState,
  type Slot,
} from './calibration-state.ts';
import { eraseSaved } from './care/memory.ts';
import type { Desk } from './desk.ts';
import { openProofSlots } from './proof.ts';
import { isRefusal, isWithoutReading } from './refusals.ts';
import { looksUnturned, unturnedSaid } from './unturned.ts';

/** What a reading is taken for. */
export type Purpose = CaptureAim['purpose'];

/** Readings: asked of the board, or sent by it because the trigger was pressed; each recorded once, in its place. */
export class Taking {
  /** Where the next reading belongs. */
  #aim: CaptureAim | undefined;
  /** The newest number that the board is known to have given. */
  #lastGiven = 0;
  /** Those that arrive while a link is being made, before the history of its board is here. */
  #early: BoardReading[] | undefined;
  /** Readings are recorded one after the other, in the order of their arrival. */
  #recording: Promise<void> = Promise.resolve();

  constructor(private readonly desk: Desk) {}

  /** A link is being made: what arrives is held back until {@link startAfter}. What is never let go is on the board. */
  holdBack(): void {
    this.#early = [];
  }

  /** The newest number that a board just linked had given when its memory was saved. */
  startAfter(lastGiven: number): void {
    const early = this.#early ?? [];
    this.#early = undefined;
    this.#lastGiven = lastGiven;
    for (const reading of early) this.landed(reading);
  }

  /** Resolves when every reading that has arrived is recorded. */
  recorded(): Promise<void> {
    return this.#recording;
  }

  /** A reading arrived. */
  landed(reading: BoardReading): void {
    if (this.#early) {
      this.#early.push(reading);
      return;
    }
    this.#lastGiven = Math.max(this.#lastGiven, reading.reading);
    this.#recording = this.#recording
      .then(() => this.#record(reading))
      .catch((error: unknown) => this.desk.report(error));
  }

  /**
   * The simulated hand aims, the board captures, for one place after the other; where a person aims, for the first. A place whose reading was still on its
   * way, and is in now, is not taken again.
   */
  async take(places: () => readonly Slot[], purpose: Purpose): Promise<void> {
    const { desk } = this;
    const board = desk.linked();
    const asked = desk.hand ? places() : places().slice(0, 1); // a person turns the board in between
    const { captureBegun: begun } = desk.calibration();
    await board.mode('collect', desk.signal);
    const arrived = begun && (await this.#hasArrived(board));
    const slots = arrived ? asked.filter((slot) => !isAimAt(begun, slot)) : asked;
    for (const [done, slot] of slots.entries()) {
      if (desk.signal.aborted) break;
      desk.show({ what: 'Taking readings', done, of: slots.length, stoppable: true });
      this.#aim = aimAt(slot, purpose);
      try {
        await desk.hand?.hold(this.#aim.aim);
        await this.#capture(this.#aim);
      } finally {
        this.#aim = undefined;
      }
    }
  }

  /** A capture that nobody waited for to its end has either brought its reading by now or never will; which? */
  async #hasArrived(board: Board): Promise<boolean> {
    const { desk } = this;
    await board.catchUp();
    await this.#recording;
    if (!desk.calibration().captureBegun) return true;
    const reason = 'The board has sent no reading of it';
    await desk.append({ ...desk.inCalibration(), kind: 'capture failed', reason });
    return false;
  }

  async #capture(aim: CaptureAim): Promise<void> {
    const { desk } = this;
    const board = desk.linked();
    const stamp = desk.inCalibration();
    await desk.append({ ...stamp, kind: 'capture begun', after: this.#lastGiven, ...aim });
    try {
      await this.#captureWithRoom(board);
    } catch (error) {
      const open = desk.calibration().captureBegun !== undefined;
      if (open && isWithoutReading(error)) {
        await desk.append({ ...stamp, kind: 'capture failed', reason: messageOf(error) });
      }
      throw error;
    }
    await this.#recording;
  }

  async #captureWithRoom(board: Board): Promise<void> {
    const { signal } = this.desk;
    try {
      await board.capture(signal);
    } catch (error) {
      if (!isRefusal(error, 'memory_full')) throw error;
      await this.#acknowledge(board);
      await board.capture(signal);
    }
  }

  /** Lets the board forget its readings, once they are in the logbook. */
  async #acknowledge(board: Board): Promise<void> {
    const { desk } = this;
    const { work } = desk.state;
    const what = 'Comparing the board’s memory with the logbook, to make room';
    await eraseSaved(desk, board, what, 'even unreadable');
    if (work) desk.show(work);
  }

  async #record(reading: BoardReading): Promise<void> {
    const { desk } = this;
    const { history } = desk.state;
    if (holds(history, reading)) return;
    const { calibration } = history;
    if (!calibration || calibration.ended) return; // it stays on the board, and is saved at the next link
    const aim = this.#aim ?? calibration.captureBegun ?? this.#shownAim(calibration);
    const entry = readingEntry(desk, reading, aim?.purpose ?? this.#purpose(), aim);
    const { identity } = history;
    const rows = entry.kind === 'reading' ? calibration.readings : calibration.proofReadings;
    const before = rows.at(-1);
    const unturned = identity && before && looksUnturned(entry, before, identity);
    await desk.append(entry);
    const taken = `Reading ${entry.id} taken: ${aim ? aimWords(aim) : 'outside the plan'}.`;
    desk.say(unturned ? `${taken} ${unturnedSaid(entry)}` : taken);
  }

  /** The place that the screen asks for next: what a person who presses the trigger aims at. */
  #shownAim(calibration: CalibrationState): CaptureAim | undefined {
    const purpose = this.#purpose();
    const [slot] =
      purpose === 'fit' ? openSlots(calibration) : openProofSlots(calibration.proofReadings);
    return slot && aimAt(slot, purpose);
  }

  /** What a reading that nobody announced is for. */
  #purpose(): Purpose {
    return provesNow(this.desk.state.history) ? 'proof' : 'fit';
  }
}

/**
 * The entry of a reading in the newest calibration.
 *
 * @param place where the reading belongs; absent where its aim is not known
 */
export function readingEntry(
  desk: Desk,
  reading: BoardReading,
  purpose: Purpose,
  place: Pick<CaptureAim, 'sighting' | 'aim'> | undefined,
): Extract<Entry, { kind: 'reading' | 'proof reading' }> {
  const id = freeId(String(reading.reading), desk.calibration());
  const taken: TakenReading = {
    id,
    reading,
    ...(place && { sighting: place.sighting, aim: place.aim }),
  };
  const kind = purpose === 'fit' ? ('reading' as const) : ('proof reading' as const);
  return { ...desk.inCalibration(), kind, ...taken };
}

/** A place of the plan, or of the proof, as an aim. */
const aimAt = ({ sighting, roll }: Slot, purpose: Purpose): CaptureAim => ({
  purpose,
  sighting: sighting.sighting,
  aim: { azimuth: sighting.azimuth, inclination: sighting.inclination, roll },
});

const isAimAt = ({ sighting, aim }: CaptureAim, slot: Slot): boolean =>
  sighting === slot.sighting.sighting && aim.roll === slot.roll;
