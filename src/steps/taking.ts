import type { Board, BoardReading } from '../protocol/board.ts';
import type { Attitude } from '../protocol/simulator.ts';
import type { CaptureAim, Entry, TakenReading } from '../records/entries.ts';
import { aimWords, messageOf } from './bench-words.ts';
import { freeId, holds, keptReadings, type Slot } from './calibration-state.ts';
import { eraseSaved } from './care/memory.ts';
import { doubtOfCheckReading } from './checks/check-doubts.ts';
import { openCheckPlaces } from './checks/check-history.ts';
import type { CheckPlace } from './checks/check-places.ts';
import { turnedByPerson } from './collecting/own-hand.ts';
import { movedSaid, movedWhileTaken } from './collecting/stillness.ts';
import type { Desk } from './desk.ts';
import type { Told } from './place-state.ts';
import { isRefusal, isWithoutReading } from './refusals.ts';
import { aimAt, openPlaces, purposeNow, shownAim, type Purpose } from './shown-aim.ts';
import { looksUnturned, unturnedSaid } from './unturned.ts';

/** Takes a reading to where it belongs, and says what became of it. */
export type ReadingTaker = (reading: BoardReading) => Promise<Told>;

/** Readings: asked of the board, or sent by it because the trigger was pressed; each recorded once, in its place. */
export class Taking {
  /** Where the next reading belongs. */
  #aim: CaptureAim | undefined;
  /** The same, of a check in the field; kept until its reading is here, or is known not to come. */
  #checkPlace: CheckPlace | undefined;
  /** The newest number that the board is known to have given. */
  #lastGiven = 0;
  /** Those that arrive while a link is being made, before the history of its board is here. */
  #early: BoardReading[] | undefined;
  /** Who has the readings that were asked for neither a calibration nor a check, if anybody. */
  #taker: ReadingTaker | undefined;
  /** Readings are recorded one after the other, in the order of their arrival. */
  #recording: Promise<void> = Promise.resolve();

  /** @param untilStill resolves when a board in a person's hand may be read */
  constructor(
    private readonly desk: Desk,
    private readonly untilStill: () => Promise<void>,
  ) {}

  /** A link is being made: what arrives is held back until {@link startAfter}. What is never let go is on the board. */
  holdBack(): void {
    this.#early = [];
  }

  /** The newest number that a board just linked had given when its memory was saved. */
  startAfter(lastGiven: number): void {
    const early = this.#early ?? [];
    this.#early = undefined;
    this.#lastGiven = lastGiven;
    this.#checkPlace = undefined; // what was on its way is saved by now
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
    const hand = turnedByPerson(desk.state) ? undefined : desk.hand;
    const asked = hand ? places() : places().slice(0, 1); // a person turns the board in between
    const { aim: arrived } = await this.settle();
    await board.mode('collect', desk.signal);
    const slots = arrived ? asked.filter((slot) => !isAimAt(arrived, slot)) : asked;
    for (const [done, slot] of slots.entries()) {
      if (desk.signal.aborted) break;
      desk.show({ what: 'Taking readings', done, of: slots.length, stoppable: true });
      this.#aim = aimAt(slot, purpose);
      try {
        if (hand) await hand.hold(this.#aim.aim);
        else await this.untilStill();
        if (desk.signal.aborted) break;
        await this.#capture(this.#aim);
      } finally {
        this.#aim = undefined;
      }
    }
  }

  /** From now on readings that nobody asked for a calibration or a check go to `taker`; where they belong without one. */
  giveTo(taker?: ReadingTaker): void {
    this.#taker = taker;
  }

  /**
   * Takes readings for whoever has them: a simulated hand holds the board at each aim; where a person aims, one is taken.
   *
   * @param next the aim of the next reading, asked for each; none where all are in
   * @param most so many at most
   */
  async takeForTaker(what: string, next: () => Attitude | undefined, most: number): Promise<void> {
    const { desk } = this;
    const board = desk.linked();
    const hand = turnedByPerson(desk.state) ? undefined : desk.hand;
    await this.settle();
    await board.mode('collect', desk.signal);
    const of = hand ? most : 1;
    for (let done = 0; done < of && !desk.signal.aborted; done++) {
      const aim = next();
      if (!aim) break;
      desk.show({ what, done, of, stoppable: true });
      if (hand) await hand.hold(aim);
      else await this.untilStill();
      if (desk.signal.aborted) break;
      await this.#captureWithRoom(board);
      await this.#recording;
    }
  }

  /** Takes a reading as the board's trigger does: for the place that is shown. */
  async press(): Promise<void> {
    await this.#captureWithRoom(this.desk.linked());
    await this.#recording;
  }

  /** The same as {@link take} for a check in the field. A reading whose answer is lost with the link is saved, and its place is asked for again. */
  async takeForCheck(places: () => readonly CheckPlace[]): Promise<void> {
    const { desk } = this;
    const board = desk.linked();
    const hand = turnedByPerson(desk.state) ? undefined : desk.hand;
    const asked = hand ? places() : places().slice(0, 1);
    const { place: arrived } = await this.settle();
    await board.mode('collect', desk.signal);
    const wanted = asked.filter(({ place }) => place !== arrived?.place);
    for (const [done, place] of wanted.entries()) {
      if (desk.signal.aborted) break;
      const what = 'Taking readings for the check';
      desk.show({ what, done, of: wanted.length, stoppable: true });
      if (hand) await hand.hold(place.aim);
      else await this.untilStill();
      if (desk.signal.aborted) break;
      await this.#captureForCheck(board, place);
    }
  }

  /**
   * A capture that nobody waited for to its end has either brought its reading by now or never will: from here on the next
   * reading is not taken for it.
   *
   * @returns what its reading was taken for, where it has come
   */
  async settle(): Promise<{ aim?: CaptureAim; place?: CheckPlace }> {
    const { desk } = this;
    const aim = pendingAim(desk);
    const place = this.#checkPlace;
    if (!desk.state.history.calibration?.captureBegun && !place) return {};
    await desk.linked().catchUp();
    await this.#recording;
    const isWithout = this.#checkPlace !== undefined;
    this.#checkPlace = undefined;
    const stillOut = pendingAim(desk) !== undefined;
    if (stillOut) {
      const reason = 'The board has sent no reading of it';
      await desk.append({ ...desk.inCalibration(), kind: 'capture failed', reason });
    }
    return {
      ...(aim && !stillOut && { aim }),
      ...(place && !isWithout && { place }),
    };
  }

  async #captureForCheck(board: Board, place: CheckPlace): Promise<void> {
    this.#checkPlace = place;
    try {
      await this.#captureWithRoom(board);
    } catch (error) {
      if (isWithoutReading(error)) this.#checkPlace = undefined;
      throw error;
    }
    await this.#recording;
    this.#checkPlace = undefined;
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
    if (this.#taker && !this.#aim && !this.#checkPlace && !pendingAim(desk)) {
      const told = await this.#taker(reading);
      desk.say(told.words, turnedByPerson(desk.state) ? told : undefined);
      return;
    }
    if (await this.#recordForCheck(reading)) return;
    const { calibration } = history;
    if (!calibration || calibration.ended) return; // it stays on the board, and is saved at the next link
    const aim = this.#aim ?? calibration.captureBegun ?? shownAim(history);
    const entry = readingEntry(desk, reading, aim?.purpose ?? purposeNow(history), aim);
    const doubt = this.#doubtOf(entry);
    await desk.append(entry);
    const taken = `Reading ${entry.id} taken: ${aim ? aimWords(aim) : 'outside the plan'}.`;
    const told = turnedByPerson(desk.state) ? this.#told(aim, doubt) : undefined;
    const whole = told && told.kind !== 'taken' ? told.words : '';
    desk.say([taken, doubt ?? whole].filter(Boolean).join(' '), told);
  }

  /**
   * While a check in the field is under way a reading is for its next place, unless it was asked for the calibration. Where
   * the check has no place for it, it stays on the board: no other aim is shown that it could have been taken at.
   */
  async #recordForCheck(reading: BoardReading): Promise<boolean> {
    const { desk } = this;
    const { checks, identity } = desk.state.history;
    const { now } = checks;
    if (this.#aim) return false;
    const asked = this.#checkPlace;
    this.#checkPlace = undefined;
    if (!now) return asked !== undefined; // asked for by a check that was left meanwhile: it stays on the board
    if (!asked && pendingAim(desk)) return false;
    const place = asked ?? openCheckPlaces(now)[0];
    if (!place) {
      const words = `Reading ${reading.reading} is not taken for the check, which has no place for it now: it stays on the board.`;
      desk.say(words, turnedByPerson(desk.state) ? { kind: 'refused', words } : undefined);
      return true;
    }
    const { board, id: check } = now.begun;
    const stamp = desk.stamp(board);
    await desk.append({ ...stamp, kind: 'check reading', check, place: place.place, reading });
    const doubt = identity && doubtOfCheckReading({ place, reading }, now, identity);
    const told: Told = doubt
      ? { kind: 'doubted', words: doubt }
      : { kind: 'taken', words: 'Taken.' };
    const taken = `Reading ${reading.reading} taken for the check.`;
    desk.say(
      [taken, doubt].filter(Boolean).join(' '),
      turnedByPerson(desk.state) ? told : undefined,
    );
    return true;
  }

  /** Why a reading may not be what it should be, as sentences; it is kept all the same. */
  #doubtOf(entry: ReadingEntry): string | undefined {
    const { identity, calibration } = this.desk.state.history;
    if (!identity || !calibration) return undefined;
    const rows = entry.kind === 'reading' ? calibration.readings : calibration.proofReadings;
    const before = rows.at(-1);
    const unturned = before && looksUnturned(entry, before, identity);
    const recent = keptReadings(calibration).map(({ reading }) => reading);
    const moved = movedWhileTaken(entry.reading, identity, recent);
    const doubts = [
      ...(moved ? [movedSaid(moved, entry)] : []),
      ...(unturned ? [unturnedSaid(entry)] : []),
    ];
    return doubts.length === 0 ? undefined : doubts.join(' ');
  }

  /** What a reading for this place was, for one who does not look. */
  #told(aim: CaptureAim | undefined, doubt: string | undefined): Told {
    if (doubt !== undefined) return { kind: 'doubted', words: doubt };
    const open = openPlaces(this.desk.state.history);
    if (open.length === 0) return { kind: 'done', words: 'All readings are in.' };
    const isWhole = aim && open.every(({ sighting }) => sighting.sighting !== aim.sighting);
    return isWhole
      ? { kind: 'whole', words: 'Sighting complete.' }
      : { kind: 'taken', words: 'Taken.' };
  }
}

export type ReadingEntry = Extract<Entry, { kind: 'reading' | 'proof reading' }>;

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
): ReadingEntry {
  const id = freeId(String(reading.reading), desk.calibration());
  const taken: TakenReading = {
    id,
    reading,
    ...(place && { sighting: place.sighting, aim: place.aim }),
  };
  const kind = purpose === 'fit' ? ('reading' as const) : ('proof reading' as const);
  return { ...desk.inCalibration(), kind, ...taken };
}

/** What a capture was begun for in the newest calibration, while its reading may still come. */
function pendingAim({ state }: Desk): CaptureAim | undefined {
  const { calibration } = state.history;
  return calibration?.ended ? undefined : calibration?.captureBegun;
}

const isAimAt = ({ sighting, aim }: CaptureAim, slot: Slot): boolean =>
  sighting === slot.sighting.sighting && aim.roll === slot.roll;
