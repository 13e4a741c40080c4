import { coefficientsFrom, coefficientValues } from '../calib/model.ts';
import { cubePlan } from '../calib/plan.ts';
import { degrees } from '../calib/geometry.ts';
import {
  linkBoard,
  sealOutcome,
  type Board,
  type BoardReading,
  type StoredSet,
} from '../protocol/board.ts';
import type { Clock } from '../protocol/clock.ts';
import { ProtocolError } from '../protocol/errors.ts';
import type { ByteLink } from '../protocol/link.ts';
import type { SimulatorControl, SimulatorSettings } from '../protocol/simulator.ts';
import type { CaptureAim, Entry, EntryOf, Plan, TakenReading } from '../records/entries.ts';
import { LogbookError, type Logbook } from '../records/logbook.ts';
import type { BenchState } from './bench-state.ts';
import {
  aimWords,
  BenchError,
  fetchedWords,
  foundWords,
  messageOf,
  noticeWords,
  troubleOf,
  unreadableWords,
  WORK,
} from './bench-words.ts';
import { fetchReadings, notHeldBy } from './board-memory.ts';
import {
  afterEntry,
  EMPTY_HISTORY,
  foldHistory,
  freeId,
  gapSlots,
  holds,
  openSlots,
  provesNow,
  type CalibrationState,
  type Slot,
} from './calibration-state.ts';
import { fitRequest, type Fitter } from './fitting.ts';
import type { Intention } from './next-step.ts';
import { openProofSlots, proofOf, truthErrors } from './proof.ts';
import { SimulatorShelf } from './simulator-shelf.ts';
import { meanAndDeviation } from './statistics.ts';
import { without } from './copy-without.ts';

/**
 * The bench: it joins board, logbook and fit, holds the state that the screen shows, and carries out what a person
 * asks. Whatever happens is in the logbook before it is in the state.
 */

/** A simulated board: its byte link, and the hand and knobs beside it. */
export interface SimulatedBoard {
  link: ByteLink;
  control: SimulatorControl;
  /** Ends it and frees what it holds; the link ends with it. */
  end(): void;
}

export interface BenchParts {
  logbook: Logbook;
  fitter: Fitter;
  /**
   * Takes the logbook's bench for this page until the page closes; resolves with whether it did. Absent where no other
   * page can be.
   */
  hold?(): Promise<boolean>;
  simulator: {
    defaults: SimulatorSettings;
    /** Rejects settings that no simulated board can have, with a RangeError that says why. */
    check(settings: SimulatorSettings): void;
    /** @param saved image of its memory, as `onMemory` gave it */
    make(
      settings: SimulatorSettings,
      memory: { saved?: Uint8Array; onMemory(image: Uint8Array): void },
    ): SimulatedBoard;
  };
  clock: Clock;
  /** A fresh random number in [0, 1). */
  random(): number;
  /** The time of day, for the logbook. */
  today(): Date;
}

/** How many noise-free attitudes the truth is taken over. */
const TRUTH_ATTITUDES = 400;

/** What a reading is taken for. */
type Purpose = CaptureAim['purpose'];

/** A change of what is set aside, and how a person would name it. */
interface Change {
  words: string;
  reading: string;
  /** The mark the reading had before; absent where it had none. */
  before?: { reason: string; by: 'person' | 'fit' };
}

export class Bench {
  #state: BenchState;
  readonly #parts: BenchParts;
  readonly #listeners = new Set<() => void>();
  readonly #shelf: SimulatorShelf;
  #board: Board | undefined;
  #simulated: SimulatedBoard | undefined;
  /** Where the next reading belongs. */
  #aim: CaptureAim | undefined;
  /** The newest number that the linked board is known to have given. */
  #lastGiven = 0;
  /** Readings are recorded one after the other, in the order of their arrival. */
  #recording: Promise<void> = Promise.resolve();
  /** Aborted when a person asks to stop what is being done. */
  #stop = new AbortController();
  #changes: Change[] = [];
  /** Whether this page has the bench, and has taken up what was kept. */
  #held = false;
  /** Everything that is done is done in its turn. */
  #turn: Promise<void> = Promise.resolve();
  /** A piece of work has its turn or waits for it. */
  #busy = false;

  constructor(parts: BenchParts) {
    this.#parts = parts;
    this.#shelf = new SimulatorShelf(parts.logbook, parts.simulator.defaults, (fault) =>
      this.#report(new LogbookError(fault)),
    );
    this.#state = {
      link: { state: 'none' },
      history: EMPTY_HISTORY,
      simulator: parts.simulator.defaults,
      said: '',
    };
  }

  get state(): BenchState {
    return this.#state;
  }

  /** Calls `listener` after every change of state, until the returned function is called. */
  subscribe(listener: () => void): () => void {
    this.#listeners.add(listener);
    return () => this.#listeners.delete(listener);
  }

  /** Takes up the work where it was when the page closed. */
  async open(): Promise<void> {
    await this.#during({ what: 'Linking', stoppable: true }, async () => {
      if (this.#state.history.identity) await this.#link();
    });
  }

  /** Takes the bench for this page, and up what was kept of it. */
  async #hold(): Promise<void> {
    if (this.#held) return;
    const { hold } = this.#parts;
    if (hold && !(await hold())) throw new BenchError('held_elsewhere');
    const { settings, linked } = await this.#shelf.load();
    this.#change({ simulator: settings });
    if (linked !== undefined) await this.#recollect(linked);
    this.#held = true;
  }

  /** Does what was asked, unless something else is being done. Resolves when it is done or has failed. */
  async perform(intention: Intention): Promise<void> {
    if (intention === 'stop') {
      this.#stop.abort();
      return;
    }
    await this.#during(WORK[intention], () => this.#carryOut(intention));
  }

  /** Sets the simulated board: at once where it is linked, else when it will be. */
  async adjustSimulator(change: Partial<SimulatorSettings>): Promise<void> {
    await this.#during({ what: 'Setting the simulated board', stoppable: false }, async () => {
      const wanted = { ...this.#shelf.settings, ...change };
      try {
        this.#parts.simulator.check(wanted);
      } catch (error) {
        if (!(error instanceof RangeError)) throw error;
        throw new BenchError('bad_setting', error.message);
      }
      // the one that is linked goes back on the shelf with its memory
      if (this.#simulated && this.#shelf.makesAnother(change)) await this.#unlink();
      await this.#simulated?.control.adjust(change);
      this.#change({
        simulator: await this.#shelf.set(change),
        said: 'The simulated board is set.',
      });
    });
  }

  /** Writes this fit to the board, if it is still the newest and the readings have not changed since. */
  async write(fit: string): Promise<void> {
    await this.#during(WORK.write, () => this.#write(fit));
  }

  /** Leaves a reading out of the fit, with the reason kept. */
  async setAside(reading: string, reason: string): Promise<void> {
    await this.#inTurn(undefined, () =>
      this.#mark({ words: `set reading ${reading} aside`, reading }, { reason, by: 'person' }),
    );
  }

  /** Puts a reading that was set aside back into the fit. */
  async takeBack(reading: string): Promise<void> {
    await this.#inTurn(undefined, () => {
      const before = this.#calibration().readings.find((row) => row.id === reading)?.setAside;
      const words = `take reading ${reading} back`;
      return this.#mark({ words, reading, ...(before && { before }) }, undefined);
    });
  }

  #carryOut(intention: Exclude<Intention, 'stop'>): Promise<void> {
    const open = () => openSlots(this.#calibration());
    switch (intention) {
      case 'link':
        return this.#link();
      case 'unlink':
        return this.#unlink();
      case 'begin':
        return this.#begin();
      case 'take one':
        return this.#take(() => open().slice(0, 1), 'fit');
      case 'take sighting':
        return this.#take(() => {
          const slots = open();
          return slots.filter((slot) => slot.sighting === slots[0]?.sighting);
        }, 'fit');
      case 'take rest':
        return this.#take(open, 'fit');
      case 'take gaps':
        return this.#take(() => gapSlots(this.#calibration()), 'fit');
      case 'fit':
        return this.#fit();
      case 'write':
        return this.#write(this.#calibration().fit?.id);
      case 'prove':
        return this.#prove(() => openProofSlots(this.#calibration().proofReadings));
      case 'prove again':
        return this.#prove(() => openProofSlots([]));
      case 'leave':
        return this.#leave();
      case 'resume':
        return this.#resume();
      case 'end':
        return this.#close();
      case 'revert':
        return this.#revert();
      case 'undo':
        return this.#undo();
    }
  }

  async #link(): Promise<void> {
    await this.#closeBoard();
    this.#simulated ??= this.#parts.simulator.make(
      this.#shelf.settings,
      await this.#shelf.memory(),
    );
    const { link } = this.#simulated;
    this.#change({ link: { state: 'linking', label: link.label } });
    let board: Board;
    try {
      board = await this.#openBoard(link);
      this.#board = board;
      await this.#recollect(board.identity.serial);
      await this.#saveBoard(board, link.label);
      await this.#settleSeal(board);
      await this.#settleRevert(board);
    } catch (error) {
      await this.#closeBoard();
      const known = this.#state.history.identity !== undefined;
      if (!known) this.#endSimulated();
      this.#change({ link: known ? { state: 'lost', label: link.label } : { state: 'none' } });
      throw error;
    }
    await this.#shelf.remember(board.identity.serial);
    if (this.#board !== board) return; // lost again meanwhile, and that was said
    this.#change({ link: { state: 'linked', label: link.label } });
  }

  /** All that the logbook says of a board. */
  async #recollect(serial: string): Promise<void> {
    this.#change({ history: foldHistory(await this.#parts.logbook.entriesOfBoard(serial)) });
  }

  #openBoard(link: ByteLink): Promise<Board> {
    return linkBoard(link, {
      clock: this.#parts.clock,
      random: this.#parts.random,
      onReading: (reading) => this.#landed(reading),
      onEvent: (notice) => this.#change({ said: noticeWords(notice) }),
      onTrouble: (error) => this.#report(error),
      onLost: (error) => this.#lost(error),
      signal: this.#stop.signal,
    });
  }

  #lost(error: ProtocolError): void {
    this.#board = undefined;
    const { label } = this.#state.link;
    this.#change({ link: { state: 'lost', ...(label !== undefined && { label }) } });
    this.#report(error);
  }

  /** Records who the board is and all that is on it, before anything on it is changed. */
  async #saveBoard(board: Board, link: string): Promise<void> {
    const { signal } = this.#stop;
    const memory = await board.memory(signal);
    const { known } = this.#state.history;
    const { readings, unreadable } = await fetchReadings(
      board,
      memory,
      (number) => !known.has(number),
      (done, of) => {
        const what = 'Saving what is on the board';
        this.#change({ work: { what, done, of, stoppable: true } });
      },
      signal,
    );
    const stamp = this.#stamp(board.identity.serial);
    const awaited = this.#awaitedAmong(readings);
    const found = readings.filter((reading) => reading !== awaited?.reading);
    await this.#append(
      { ...stamp, kind: 'board linked', identity: board.identity, link },
      { ...stamp, kind: 'coefficients saved', ...(await setsOn(board, signal)) },
      {
        ...stamp,
        kind: 'memory saved',
        memory,
        readings: found,
        ...(unreadable.length > 0 && { unreadable }),
      },
      ...this.#endOfCapture(awaited?.reading),
    );
    this.#lastGiven = memory.last;
    const said = [
      ...(awaited ? [fetchedWords(awaited.reading, awaited.aim)] : []),
      ...(found.length > 0 ? [foundWords(found.length)] : []),
      ...(unreadable.length > 0 ? [unreadableWords(unreadable)] : []),
    ];
    if (said.length > 0) this.#change({ said: said.join(' ') });
  }

  /** The reading that a capture was begun for before the link was lost. Of any other nobody knows the aim. */
  #awaitedAmong(
    readings: readonly BoardReading[],
  ): { reading: BoardReading; aim: CaptureAim } | undefined {
    const { captureBegun: aim, ended } = this.#state.history.calibration ?? {};
    if (!aim || ended) return undefined;
    const reading = readings.find((each) => each.reading === aim.after + 1);
    return reading && { reading, aim };
  }

  /** What became of a capture that was begun before the link was lost, now that its reading is here or is not. */
  #endOfCapture(reading: BoardReading | undefined): Entry[] {
    const begun = this.#state.history.calibration?.captureBegun;
    if (!begun) return [];
    if (reading) return [this.#readingEntry(reading, begun.purpose, begun)];
    const reason = 'The board’s memory holds no reading of it';
    return [{ ...this.#inCalibration(), kind: 'capture failed', reason }];
  }

  /** After a seal whose answer was lost: what the board runs tells whether it took. */
  async #settleSeal(board: Board): Promise<void> {
    const begun = this.#state.history.calibration?.sealBegun;
    if (!begun) return;
    const { replaces: replaced, crc } = begun;
    const outcome = await sealOutcome(board, replaced, crc);
    const sets = await setsOn(board);
    const generation = sets.inForce?.generation ?? 0;
    const stamp = this.#inCalibration();
    const reason = `The board runs generation ${generation}, not the one that was to be sealed`;
    await this.#append(
      outcome === 'sealed'
        ? { ...stamp, kind: 'sealed', generation, crc, replaced, known: 'read back' }
        : { ...stamp, kind: 'seal failed', generation, reason },
      { ...stamp, kind: 'coefficients saved', ...sets },
    );
  }

  /** The same after a revert whose answer was lost; resolves with whether it had happened. */
  async #settleRevert(board: Board): Promise<boolean> {
    const begun = this.#state.history.calibration?.revertBegun;
    if (!begun) return false;
    const { replaces: replaced, crc } = begun;
    if ((await sealOutcome(board, replaced, crc)) === 'sealed') {
      await this.#reverted(board, { generation: replaced + 1, crc, replaced, known: 'read back' });
      return true;
    }
    const generation = (await board.coefficients('in_force'))?.generation ?? 0;
    const reason = `The board runs generation ${generation}, not the one before`;
    await this.#append({ ...this.#inCalibration(), kind: 'revert failed', generation, reason });
    return false;
  }

  async #unlink(): Promise<void> {
    await this.#closeBoard();
    await this.#shelf.remember(undefined);
    this.#endSimulated();
    this.#changes = [];
    this.#change({ link: { state: 'none' }, history: EMPTY_HISTORY }, 'undo');
  }

  #endSimulated(): void {
    this.#simulated?.end();
    this.#simulated = undefined;
  }

  async #closeBoard(): Promise<void> {
    const board = this.#board;
    this.#board = undefined;
    await board?.close();
  }

  async #begin(): Promise<void> {
    const { calibration } = this.#state.history;
    if (calibration && !calibration.ended) await this.#end('abandoned', 'Begun again');
    const { serial } = this.#linked().identity;
    const stamp = this.#stamp(serial);
    this.#changes = [];
    await this.#append({
      ...stamp,
      calibration: `${serial} ${stamp.time}`,
      kind: 'calibration started',
      plan: cubePlanInDegrees(),
    });
    this.#change({ said: 'Calibration begun.' }, 'undo');
    await this.#linked().mode('collect');
  }

  /**
   * The simulated hand aims, the board captures, for one place after the other.
   *
   * @param places looked up when a reading that was still on its way is in
   */
  async #take(places: () => readonly Slot[], purpose: Purpose): Promise<void> {
    const board = this.#linked();
    await board.mode('collect', this.#stop.signal);
    await this.#awaitCapture(board);
    const slots = places();
    for (const [done, slot] of slots.entries()) {
      if (this.#stop.signal.aborted) break;
      const progress = { done, of: slots.length };
      this.#change({ work: { what: 'Taking readings', ...progress, stoppable: true } });
      this.#aim = aimAt(slot, purpose);
      try {
        await this.#simulated?.control.hold(this.#aim.aim);
        await this.#capture(this.#aim);
      } finally {
        this.#aim = undefined;
      }
    }
  }

  /** A capture that nobody waited for to its end has either brought its reading by now or never will. */
  async #awaitCapture(board: Board): Promise<void> {
    if (!this.#calibration().captureBegun) return;
    await board.catchUp();
    await this.#recording;
    if (!this.#calibration().captureBegun) return;
    const reason = 'The board has sent no reading of it';
    await this.#append({ ...this.#inCalibration(), kind: 'capture failed', reason });
  }

  async #capture(aim: CaptureAim): Promise<void> {
    const board = this.#linked();
    const stamp = this.#inCalibration();
    await this.#append({ ...stamp, kind: 'capture begun', after: this.#lastGiven, ...aim });
    try {
      await this.#captureWithRoom(board);
    } catch (error) {
      const open = this.#calibration().captureBegun !== undefined;
      if (open && isWithoutReading(error)) {
        await this.#append({ ...stamp, kind: 'capture failed', reason: messageOf(error) });
      }
      throw error;
    }
    await this.#recording;
  }

  async #captureWithRoom(board: Board): Promise<void> {
    try {
      await board.capture(this.#stop.signal);
    } catch (error) {
      if (!isRefusal(error, 'memory_full')) throw error;
      await this.#acknowledge(board);
      await board.capture(this.#stop.signal);
    }
  }

  /**
   * Lets the board forget its readings, once each was held against the logbook and what that lacked is in it. A number
   * alone proves nothing: a board that was repaired may give it twice.
   */
  async #acknowledge(board: Board): Promise<void> {
    const { work } = this.#state;
    const { signal } = this.#stop;
    const memory = await board.memory(signal);
    const { readings, unreadable } = await fetchReadings(
      board,
      memory,
      () => true,
      (done, of) => {
        const what = 'Comparing the board’s memory with the logbook, to make room';
        this.#change({ work: { what, done, of, stoppable: true } });
      },
      signal,
    );
    const stamp = this.#inCalibration();
    const lacking = notHeldBy(
      await this.#parts.logbook.entriesOfBoard(board.identity.serial),
      readings,
    );
    if (lacking.length > 0 || unreadable.length > 0) {
      await this.#append({
        ...stamp,
        kind: 'memory saved',
        memory,
        readings: lacking,
        ...(unreadable.length > 0 && { unreadable }),
      });
    }
    const through = memory.last;
    const count = await board.erase(through);
    await this.#append({ ...stamp, kind: 'erased', through, count });
    this.#change({ ...(work && { work }) });
  }

  #landed(reading: BoardReading): void {
    this.#lastGiven = reading.reading;
    this.#recording = this.#recording
      .then(() => this.#record(reading))
      .catch((error: unknown) => this.#report(error));
  }

  async #record(reading: BoardReading): Promise<void> {
    const { history } = this.#state;
    if (holds(history, reading)) return;
    const { calibration } = history;
    if (!calibration || calibration.ended) return; // it stays on the board, and is saved at the next link
    const aim = this.#aim ?? calibration.captureBegun ?? this.#shownAim(calibration);
    const entry = this.#readingEntry(reading, aim?.purpose ?? this.#purpose(), aim);
    await this.#append(entry);
    this.#change({
      said: `Reading ${entry.id} taken: ${aim ? aimWords(aim) : 'outside the plan'}.`,
    });
  }

  /** The place that the screen asks for next: what a person who presses the trigger aims at. */
  #shownAim(calibration: CalibrationState): CaptureAim | undefined {
    const purpose = this.#purpose();
    const [slot] =
      purpose === 'fit' ? openSlots(calibration) : openProofSlots(calibration.proofReadings);
    return slot && aimAt(slot, purpose);
  }

  /** @param place where the reading belongs; absent where its aim is not known */
  #readingEntry(
    reading: BoardReading,
    purpose: Purpose,
    place: Pick<CaptureAim, 'sighting' | 'aim'> | undefined,
  ) {
    const id = freeId(String(reading.reading), this.#calibration());
    const taken: TakenReading = {
      id,
      reading,
      ...(place && { sighting: place.sighting, aim: place.aim }),
    };
    const kind = purpose === 'fit' ? ('reading' as const) : ('proof reading' as const);
    return { ...this.#inCalibration(), kind, ...taken };
  }

  /** What a reading that nobody announced is for. */
  #purpose(): Purpose {
    return provesNow(this.#state.history) ? 'proof' : 'fit';
  }

  async #fit(): Promise<void> {
    const before = this.#calibration();
    const outcome = await this.#parts.fitter(fitRequest(before, this.#linked().identity));
    const after = this.#calibration();
    if (after.readings !== before.readings) return this.#fit(); // one landed meanwhile
    const stamp = this.#inCalibration();
    if (!outcome.ok) {
      const { cause, message, next } = outcome;
      await this.#append({ ...stamp, kind: 'fit refused', cause, message, next });
      this.#change({ said: `No fit: ${message}` });
      return;
    }
    await this.#append(
      { ...stamp, kind: 'fit', id: `fit ${before.fits.length + 1}`, ...without(outcome, 'ok') },
      ...outcome.setAside.map(({ id, reason }): Entry => ({
        ...stamp,
        kind: 'set aside',
        reading: id,
        reason,
        by: 'fit',
      })),
    );
    this.#change({ said: 'The fit is done.' });
  }

  /** Stages, checks, seals and reads back; every step is in the logbook before the next is begun. */
  async #write(id: string | undefined): Promise<void> {
    const board = this.#linked();
    await this.#settleSeal(board);
    await board.mode('idle'); // so that no reading lands while it is written
    await this.#recording;
    const { fit } = this.#calibration();
    if (!fit || fit.id !== id || fit.stale) {
      await board.mode('collect');
      throw new BenchError('fit_changed');
    }
    const { model } = fit.coefficients;
    const set = { model, values: coefficientValues(fit.coefficients) };
    const stamp = this.#inCalibration();
    const step = (done: number, what: string) =>
      this.#change({ work: { what, done, of: 4, stoppable: false } });

    step(0, 'Saving what is in force');
    const before = await setsOn(board);
    await this.#append({ ...stamp, kind: 'coefficients saved', ...before });
    step(1, 'Staging and checking');
    const crc = await board.stage(set);
    await this.#append({ ...stamp, kind: 'staged', fit: fit.id, set, crc });
    step(2, 'Sealing');
    const replaces = before.inForce?.generation ?? 0;
    await this.#append({ ...stamp, kind: 'seal begun', replaces, crc });
    try {
      const generation = await board.seal(replaces, crc);
      await this.#append({
        ...stamp,
        kind: 'sealed',
        generation,
        crc,
        replaced: replaces,
        known: 'answer',
      });
    } catch (error) {
      if (isRefusal(error)) {
        const reason = messageOf(error);
        await this.#append({ ...stamp, kind: 'seal failed', generation: replaces, reason });
      }
      throw error;
    }
    step(3, 'Reading back');
    await this.#append({ ...stamp, kind: 'coefficients saved', ...(await setsOn(board)) });
    await board.mode('collect');
    this.#change({ said: 'Sealed, and read back from the board.' });
  }

  /** Puts the set before in force again; that it was begun is in the logbook before it is sent. */
  async #revert(): Promise<void> {
    const board = this.#linked();
    if (await this.#settleRevert(board)) return;
    const before = await setsOn(board);
    const replaces = before.inForce?.generation ?? 0;
    const crc = before.previous?.crc ?? '';
    const stamp = this.#inCalibration();
    await this.#append(
      { ...stamp, kind: 'coefficients saved', ...before },
      { ...stamp, kind: 'revert begun', replaces, crc },
    );
    try {
      const generation = await board.revert(replaces);
      await this.#reverted(board, { generation, crc, replaced: replaces, known: 'answer' });
    } catch (error) {
      if (isRefusal(error)) {
        const reason = messageOf(error);
        await this.#append({ ...stamp, kind: 'revert failed', generation: replaces, reason });
      }
      throw error;
    }
  }

  async #reverted(
    board: Board,
    outcome: Pick<EntryOf<'reverted'>, 'generation' | 'crc' | 'replaced' | 'known'>,
  ): Promise<void> {
    const sets = await setsOn(board);
    const stamp = this.#inCalibration();
    await this.#append(
      { ...stamp, kind: 'reverted', ...outcome },
      { ...stamp, kind: 'coefficients saved', ...sets },
    );
    const { ended } = this.#calibration();
    if (!ended) await this.#end('abandoned', 'The coefficients before are in force again');
    this.#change({ said: 'The coefficients before are in force again.' });
  }

  async #prove(places: () => readonly Slot[]): Promise<void> {
    await this.#take(places, 'proof');
    const { sealed, fits, proofReadings, proof: drawn } = this.#calibration();
    if (drawn || openProofSlots(proofReadings).length > 0) return; // stopped before it was whole
    const fit = fits.findLast(({ id }) => id === sealed?.fit);
    if (!sealed || !fit) throw new Error('what was sealed came from no fit');
    await this.#linked().mode('idle');
    const { generation, set } = sealed;
    const coefficients = coefficientsFrom(set.model, set.values);
    const used = fit.readings.filter((reading) => reading.used);
    const fieldInFit = meanAndDeviation(used.map((reading) => reading.field)).mean;
    const stamp = this.#inCalibration();
    const proof = proofOf(proofReadings, coefficients, generation, fieldInFit);
    await this.#append({ ...stamp, kind: 'proof', ...proof });
    this.#change({ said: proof.passed ? 'The proof passed.' : 'The proof did not pass.' });
    if (!this.#simulated) return;
    const truth = truthErrors(coefficients, await this.#simulated.control.truth(TRUTH_ATTITUDES));
    await this.#append({ ...stamp, kind: 'truth compared', generation, ...truth });
  }

  /** Leaves the calibration as it is; nothing of it is lost, and it can be taken up again. */
  async #leave(): Promise<void> {
    await this.#end('abandoned', 'Left before it was proven');
    this.#changes = [];
    this.#change({ said: 'The calibration is left.' }, 'undo');
    await this.#board?.mode('idle', this.#stop.signal);
  }

  async #resume(): Promise<void> {
    await this.#append({ ...this.#inCalibration(), kind: 'calibration resumed' });
    this.#change({ said: 'The calibration is taken up again.' });
    await this.#linked().mode('collect', this.#stop.signal);
  }

  async #close(): Promise<void> {
    await this.#end('proven', 'Every figure of the proof was within its tolerance');
    this.#change({ said: 'The calibration is closed.' });
  }

  async #end(outcome: 'proven' | 'abandoned', reason: string): Promise<void> {
    await this.#append({ ...this.#inCalibration(), kind: 'calibration ended', outcome, reason });
  }

  async #mark(change: Change, mark: Change['before'] | undefined): Promise<void> {
    await this.#writeMark(change.reading, mark);
    this.#changes.push(change);
    this.#change({ undo: change.words, said: `Done: ${change.words}.` });
  }

  async #undo(): Promise<void> {
    const change = this.#changes.pop();
    if (!change) return;
    await this.#writeMark(change.reading, change.before);
    const before = this.#changes.at(-1);
    const said = `Undone: ${change.words}.`;
    if (before) this.#change({ undo: before.words, said });
    else this.#change({ said }, 'undo');
  }

  async #writeMark(reading: string, mark: Change['before'] | undefined): Promise<void> {
    const stamp = this.#inCalibration();
    await this.#append(
      mark
        ? { ...stamp, kind: 'set aside', reading, ...mark }
        : { ...stamp, kind: 'taken back', reading },
    );
  }

  /** Writes to the logbook, and only then to the state. */
  async #append(...entries: Entry[]): Promise<void> {
    const written = await this.#parts.logbook.append(...entries);
    if (!written.ok) throw new LogbookError(written);
    this.#change({ history: entries.reduce(afterEntry, this.#state.history) });
  }

  #linked(): Board {
    if (!this.#board) throw new Error('no board is linked');
    return this.#board;
  }

  #calibration(): CalibrationState {
    const { calibration } = this.#state.history;
    if (!calibration) throw new Error('no calibration was begun');
    return calibration;
  }

  #stamp(board: string) {
    return { board, time: this.#parts.today().toISOString() };
  }

  #inCalibration(board = this.#state.history.identity?.serial ?? '') {
    return { ...this.#stamp(board), calibration: this.#calibration().id };
  }

  /** Runs a piece of work; does nothing while another is under way, since the screen offers nothing then. */
  async #during(work: NonNullable<BenchState['work']>, task: () => Promise<void>): Promise<void> {
    if (this.#busy) return;
    this.#busy = true;
    this.#stop = new AbortController();
    await this.#inTurn(work, task);
    this.#busy = false;
  }

  /** Does something when all that was asked before it is done; what goes wrong is shown. */
  #inTurn(work: BenchState['work'], task: () => Promise<void>): Promise<void> {
    this.#turn = this.#turn.then(() => this.#run(work, task));
    return this.#turn;
  }

  async #run(work: BenchState['work'], task: () => Promise<void>): Promise<void> {
    this.#change({ ...(work && { work }) }, 'trouble');
    try {
      await this.#hold();
      await task();
    } catch (error) {
      this.#report(error);
    } finally {
      this.#change({}, 'work');
    }
  }

  #report(error: unknown): void {
    if (error instanceof ProtocolError && error.cause === 'cancelled') return; // a person asked for it
    this.#change({ trouble: troubleOf(error), said: '' });
  }

  #change(change: Partial<BenchState>, ...drop: ('work' | 'trouble' | 'undo')[]): void {
    this.#state = { ...without(this.#state, ...drop), ...change };
    for (const listener of this.#listeners) listener();
  }
}

/** Both sets a board keeps, those it has. */
async function setsOn(
  board: Board,
  signal?: AbortSignal,
): Promise<{ inForce?: StoredSet; previous?: StoredSet }> {
  const inForce = await board.coefficients('in_force', signal);
  const previous = await board.coefficients('previous', signal);
  return { ...(inForce && { inForce }), ...(previous && { previous }) };
}

/** The customary plan, its angles in degrees as the logbook keeps them. */
function cubePlanInDegrees(): Plan {
  const rounded = (angle: number) => Math.round(degrees(angle) * 1e6) / 1e6;
  return {
    name: 'cube',
    azimuths: 'absolute',
    sightings: cubePlan().map(({ name, azimuth, inclination, rolls }) => ({
      sighting: name,
      azimuth: rounded(azimuth),
      inclination: rounded(inclination),
      rolls: rolls.map(rounded),
    })),
  };
}

/** A place of the plan, or of the proof, as an aim. */
const aimAt = ({ sighting, roll }: Slot, purpose: Purpose): CaptureAim => ({
  purpose,
  sighting: sighting.sighting,
  aim: { azimuth: sighting.azimuth, inclination: sighting.inclination, roll },
});

/** Whether a capture that failed so brings no reading any more. */
function isWithoutReading(error: unknown): boolean {
  if (!(error instanceof ProtocolError)) return false;
  const { fault } = error;
  if (fault.cause === 'cancelled') return !fault.sent;
  return ['refused', 'reading_lost', 'nonsense'].includes(fault.cause);
}

/** Whether the board itself said no, with this code or any. */
function isRefusal(error: unknown, code?: string): boolean {
  if (!(error instanceof ProtocolError) || error.fault.cause !== 'refused') return false;
  return code === undefined || error.fault.refusal.code === code;
}
