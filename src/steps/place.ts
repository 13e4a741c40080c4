import type { Board, BoardNotice } from '../protocol/board.ts';
import type { ByteLink } from '../protocol/link.ts';
import type { Attitude, SimulatorSettings } from '../protocol/simulator.ts';
import type { ChosenSet, Entry, PlannedSighting, ToleranceChoice } from '../records/entries.ts';
import type { Logbook } from '../records/logbook.ts';
import { noticeWords, WORK } from './bench-words.ts';
import { BoardCheck } from './board-check.ts';
import { BoardRescue, knownCoefficients } from './board-rescue.ts';
import { collectsNow, gapSlots, openSlots, writable } from './calibration-state.ts';
import { BoardCare } from './care/board-care.ts';
import { FieldChecks } from './checks/field-checks.ts';
import { isOfCheck } from './checks/next-in-check.ts';
import { ByItself } from './collecting/by-itself.ts';
import type { KeptChoices } from './collecting/collecting-choices.ts';
import { LiveAttitude, type Look } from './collecting/live-attitude.ts';
import { FIRST_HELD, turnedBy } from './collecting/own-hand.ts';
import { wantedAim } from './collecting/wanted-aim.ts';
import { Forecasting, type Forecaster } from './collecting/forecasting.ts';
import { cubePlanInDegrees } from './customary-plan.ts';
import { Desk } from './desk.ts';
import { fitCalibration } from './fit-step.ts';
import type { Fitter, LiveFitter } from './fitting.ts';
import type { KindName, System } from './link-help.ts';
import type { KeptPlace } from './kept-places.ts';
import { Linking, type LinkingParts, type Tie, type WireListener } from './linking.ts';
import { LiveFitting } from './live-fit.ts';
import { Marks, type MarkWish } from './marks.ts';
import { nextStep, type Intention } from './next-step.ts';
import type { PlaceState, Work } from './place-state.ts';
import { openProofSlots } from './proof.ts';
import { prove } from './proving.ts';
import { choose, revert, write } from './sealing.ts';
import { Taking, type ReadingTaker } from './taking.ts';
import { toleranceName } from './tolerance.ts';
import { WireLog } from './wire-log.ts';
import { sendByHand } from './wire-words.ts';

export interface PlaceParts extends LinkingParts {
  logbook: Logbook;
  fitter: Fitter;
  /** Makes the provisional fits; absent where none are wanted. */
  liveFitter?: LiveFitter;
  /** Works out how many readings are left; absent where that is not wanted. */
  forecaster?: Forecaster;
  /** How a person collects. */
  choices: Pick<KeptChoices, 'now'>;
  /** The time of day, for the logbook. */
  today(): Date;
  system: System;
  /** How the next simulated board is set. */
  nextSimulator(): SimulatorSettings;
  /** Lets the person pick a link of that kind; nothing where another place has it. Called in the gesture itself. */
  choose(kind: KindName): Promise<Tie | undefined>;
  /** Resolves when this page has the bench; rejects with a `BenchError` where another has it. */
  ready(): Promise<void>;
  /** Whether the screen shows this place: provisional fits and forecasts are made for none but that. */
  isAtHand(place: BenchPlace): boolean;
  /** Called after every change of state. */
  changed(): void;
}

const PLANNING: Work = { what: 'Planning', stoppable: false };

/**
 * One place at the bench: one board with its link, its history and its work. It carries out what a person asks, one
 * thing after the other; what goes wrong is shown in its state.
 */
export class BenchPlace {
  readonly #parts: PlaceParts;
  readonly #desk: Desk;
  readonly #taking: Taking;
  readonly #linking: Linking;
  readonly #live: LiveFitting | undefined;
  readonly #forecasting: Forecasting | undefined;
  readonly #marks: Marks;
  /** The lines that cross the link, the latest of them. */
  readonly wire: WireLog;
  /** Whether its board speaks the protocol. */
  readonly check: BoardCheck;
  /** What is the matter with its board. */
  readonly rescue: BoardRescue;
  /** Memory, settings, name, clock, light and firmware of its board. */
  readonly care: BoardCare;
  /** Checks of the instrument in the field. */
  readonly fieldChecks: FieldChecks;
  /** How its board is held now, while a person turns it. */
  readonly attitude: LiveAttitude;
  readonly #byItself = new ByItself();
  /** Everything that is done is done in its turn. */
  #turn: Promise<void> = Promise.resolve();
  /** How many pieces of work have their turn or wait for it. */
  #pending = 0;
  /** How many tasks of any kind do: what a reading brings that nobody asked for, too. */
  #tasks = 0;

  constructor(parts: PlaceParts) {
    this.#parts = parts;
    this.#desk = new Desk(parts.logbook, parts.today, parts.system, () => {
      this.lookAhead();
      this.attitude.wake();
      parts.changed();
    });
    this.attitude = new LiveAttitude({
      desk: this.#desk,
      clock: parts.clock,
      sight: parts.sight,
      isAtWork: () => this.isAtWork,
      looked: (look) => this.#looked(look),
    });
    this.#live = parts.liveFitter && new LiveFitting(this.#desk, parts.liveFitter);
    this.#forecasting = parts.forecaster && new Forecasting(this.#desk, parts.forecaster);
    this.#taking = new Taking(this.#desk, () => this.attitude.untilStill());
    this.#marks = new Marks(this.#desk);
    const later = (work: Work | undefined, task: () => Promise<void>) => {
      void (work ? this.#work(work, task, false) : this.#inTurn(undefined, task, false));
    };
    this.#linking = new Linking(this.#desk, this.#taking, parts, later, (notice) =>
      this.#noticed(notice),
    );
    this.check = new BoardCheck(this, parts, () => this.#desk.hand);
    this.rescue = new BoardRescue(this, parts, async () => {
      const { identity } = this.state.history;
      return identity && knownCoefficients(await this.#desk.entriesOf(identity.serial));
    });
    this.care = new BoardCare({
      desk: this.#desk,
      taking: this.#taking,
      clock: parts.clock,
      linkThrough: (ms, isThrough) => this.#linking.linkThrough(ms, isThrough),
      during: (work, task) => this.during(work, task),
    });
    this.fieldChecks = new FieldChecks({
      desk: this.#desk,
      taking: this.#taking,
      during: (work, task) => this.during(work, task),
    });
    this.wire = new WireLog(parts.clock, parts.today());
    this.#linking.onWire((what, text) => {
      if (what === 'ended') this.wire.ended(text);
      else this.wire.line(what, text, this.state.link.label ?? '');
    });
    this.showSimulator(parts.nextSimulator());
  }

  get state(): PlaceState {
    return this.#desk.state;
  }

  /** Asks for what is worked out beside the work while the screen shows this place. Called, too, when it comes to hand. */
  lookAhead(): void {
    if (!this.#parts.isAtHand(this)) return;
    this.#live?.look();
    this.#forecasting?.look();
  }

  /** Calls `listener` with every line that crosses the link, until the returned function is called. */
  onWire(listener: WireListener): () => void {
    return this.#linking.onWire(listener);
  }

  /** Serial number of the board at this place, as soon as it has answered; absent where none was linked yet. */
  get serial(): string | undefined {
    return (this.#desk.board ?? this.state.history).identity?.serial;
  }

  /** No board was ever linked here, and nothing is under way. */
  get isEmpty(): boolean {
    return this.state.link.state === 'none' && this.serial === undefined && this.#pending === 0;
  }

  /** Anything is being done here, or waits for its turn. */
  get isAtWork(): boolean {
    return this.#tasks > 0;
  }

  /** The link that this place has, standing or not. */
  get tie(): Tie | undefined {
    return this.#linking.tie;
  }

  /** There is a conversation with the board, or was and will be: its link is lent, or it starts again. */
  get hasBoard(): boolean {
    return this.#linking.hasBoard;
  }

  /** What to keep of this place for when the page is opened again; nothing where it is empty. */
  get kept(): KeptPlace | undefined {
    const { serial, state, tie } = this;
    const { ownHand, simulator } = state;
    const { kind, label } = state.link;
    if (serial === undefined || kind === undefined) return undefined;
    const address = tie?.address;
    return {
      serial,
      kind,
      label: label ?? '',
      ...(address !== undefined && { address }),
      ...(kind === 'simulated' && simulator && { simulator }),
      ...(kind === 'simulated' && ownHand && { ownHand }),
    };
  }

  /** Shows a board that was here when the page was closed, and what the logbook says of it. */
  async restore({ serial, kind, label, simulator, ownHand }: KeptPlace): Promise<void> {
    this.#desk.change({
      link: { state: 'lost', kind, label, end: 'page closed' },
      ...(ownHand && { ownHand }),
    });
    this.showSimulator(simulator);
    await this.#desk.recollect(serial);
  }

  /**
   * Links over a link that is just being picked; where that gives none, another place has it.
   *
   * @param only as of {@link Linking.link}
   */
  async linkOver(
    kind: KindName,
    picking: Promise<Tie | undefined>,
    only?: readonly string[],
  ): Promise<void> {
    picking.catch(() => {}); // it is awaited below, but not at once
    const desk = this.#desk;
    await this.during(WORK.link, async () => {
      try {
        const tie = await picking;
        if (!tie) return;
        this.#linking.take(tie);
        const { ownHand } = desk.state;
        if (ownHand) await desk.hand?.hold(ownHand); // a person had brought it there before the page was closed
        if (kind !== 'simulated') desk.change({}, 'simulator');
        await this.#linking.link(only);
      } catch (error) {
        desk.report(error, kind); // the place may be empty again, and know its kind no more
      }
      if (desk.state.link.state === 'none') this.showSimulator(this.#parts.nextSimulator());
    });
  }

  /** Reads again what the logbook says of the board here, after something of it was written elsewhere. */
  async recollect(): Promise<void> {
    const { serial } = this;
    if (serial === undefined) return;
    await this.#inTurn(
      undefined,
      async () => {
        await this.#taking.recorded();
        await this.#desk.recollect(serial);
      },
      false,
    );
  }

  /** Ends the link and whatever is under way: this place is no more. */
  async retire(): Promise<void> {
    this.attitude.retire();
    this.#desk.stop();
    await this.#linking.retire();
    await this.#turn; // its link is free only then
  }

  /** Does what was asked, unless something else is being done. Resolves when it is done or has failed. */
  async perform(intention: Intention): Promise<void> {
    if (intention === 'stop') {
      this.#desk.stop();
      return;
    }
    if (intention === 'insist') {
      this.attitude.insist();
      return;
    }
    if (intention === 'see assembly') return; // the page leads there
    if (isOfCheck(intention)) {
      await this.fieldChecks.perform(intention);
      return;
    }
    const { kind } = this.state.link;
    const anew = intention === 'choose' || (intention === 'link' && !this.tie);
    if (anew && kind && this.#pending === 0) {
      await this.linkOver(kind, this.#parts.choose(kind));
      return;
    }
    await this.during(WORK[intention], () => this.#carryOut(intention));
  }

  /**
   * Writes to the board what could be written when a person was asked ({@link writable}), if that is still so: a fit must
   * be the newest, and the readings unchanged since.
   */
  async write(id: string): Promise<void> {
    await this.during(WORK.write, () => write(this.#desk, this.#taking, id));
  }

  /**
   * Puts a set of the logbook on the board as it is, in the way of a fresh one; it is proven as after a fit.
   *
   * @param serial number of the board that it is for; on any other it is refused
   */
  async putOn(chosen: ChosenSet, serial: string): Promise<void> {
    await this.during(WORK.write, async () => {
      const id = await choose(this.#desk, chosen, serial);
      if (id !== undefined) await write(this.#desk, this.#taking, id);
    });
  }

  /**
   * Writes to the logbook, in its turn, what belongs to the board here and changes nothing on it.
   *
   * @throws LogbookError where it could not be written
   */
  async record(...entries: Entry[]): Promise<void> {
    let failure: unknown;
    await this.#inTurn(undefined, async () => {
      await this.#desk.append(...entries).catch((error: unknown) => (failure = error));
    });
    if (failure) throw failure; // to whoever asked, who may not look at this place
  }

  /** Changes what readings count for, in one step that can be undone. */
  async mark(wish: MarkWish): Promise<void> {
    await this.#inTurn(undefined, () => this.#marks.mark(wish));
  }

  /** Judges the calibration against this from now on. */
  async chooseTolerance(tolerance: ToleranceChoice): Promise<void> {
    await this.#inTurn(undefined, async () => {
      await this.#desk.append({
        ...this.#desk.inCalibration(),
        kind: 'tolerance chosen',
        ...tolerance,
      });
      this.#desk.say(`Judged against ${toleranceName(tolerance)} from now on.`);
    });
  }

  /**
   * Does something with the linked board; nothing else is done at this place meanwhile. What goes wrong is shown.
   *
   * @param signal of the task aborts when a person asks to stop
   */
  async withBoard(
    work: Work,
    task: (board: Board, signal: AbortSignal, show: (work: Work) => void) => Promise<void>,
  ): Promise<void> {
    await this.during(work, () =>
      task(this.#desk.linked(), this.#desk.signal, (now) => this.#desk.show(now)),
    );
  }

  /**
   * From now on readings that nobody asks for a calibration or a check go to `taker`, those of the board's trigger too;
   * where they belong without one.
   */
  async giveReadings(taker?: ReadingTaker): Promise<void> {
    this.#taking.giveTo(taker);
    await this.#inTurn(undefined, async () => {
      const { history } = this.state;
      const isWanted = taker !== undefined || history.checks.now || collectsNow(history);
      await this.#desk.board?.mode(isWanted ? 'collect' : 'idle', this.#desk.signal);
    });
  }

  /** Takes readings for whoever has them, as {@link Taking.takeForTaker} does. */
  async takeReadings(what: string, next: () => Attitude | undefined, most: number): Promise<void> {
    await this.during({ what, stoppable: true }, () => this.#taking.takeForTaker(what, next, most));
  }

  /** Sends a line that a person typed, in its turn, work or no work; resolves with what came of it, in words. */
  async sendByHand(line: string): Promise<string> {
    const { board } = this.#desk;
    return board ? sendByHand(board, line) : 'No board is linked, so nothing was sent.';
  }

  /**
   * Lends the bare link out: a conversation is ended before and begun anew afterwards, so that the task may say to the
   * board whatever it likes. It must leave the link closed.
   */
  async lendLink(
    work: Work,
    task: (link: ByteLink, signal: AbortSignal, show: (work: Work) => void) => Promise<void>,
  ): Promise<void> {
    await this.during(work, () =>
      this.#linking.lend((link) => task(link, this.#desk.signal, (now) => this.#desk.show(now))),
    );
  }

  /** Runs a piece of work; does nothing while another is under way, since the screen offers nothing then. */
  async during(work: Work, task: () => Promise<void>): Promise<void> {
    if (this.#pending === 0) await this.#work(work, task, true);
  }

  /** Ends the link; the place is empty then. */
  async clear(): Promise<void> {
    await this.#linking.unlink();
    this.#desk.change({ simulator: this.#parts.nextSimulator(), said: '' });
  }

  /** Shows how the simulated board is set, or that it is none. */
  showSimulator(simulator: SimulatorSettings | undefined, said = this.state.said): void {
    if (simulator) this.#desk.change({ simulator, said });
    else this.#desk.change({ said }, 'simulator');
  }

  /** Shows what went wrong. */
  report(error: unknown): void {
    this.#desk.report(error);
  }

  /** The readings that tell most, as many as are left, in place of those that the plan still lacks. */
  async followAdvice(): Promise<void> {
    await this.during(PLANNING, async () => {
      const desk = this.#desk;
      const { left } = desk.state;
      if (!left || 'failed' in left || left.advised.length === 0) return;
      await this.#replan(left.advised, true);
      const count = openSlots(desk.calibration()).length;
      desk.say(count === 1 ? 'One reading is left.' : `${count} readings are left.`);
    });
  }

  /** What is missing of the customary plan is asked for again. */
  async followPlan(): Promise<void> {
    await this.during(PLANNING, async () => {
      await this.#replan(cubePlanInDegrees().sightings, false);
      this.#desk.say('The whole customary plan is asked for again.');
    });
  }

  async #replan(sightings: readonly PlannedSighting[], instead: boolean): Promise<void> {
    const desk = this.#desk;
    const board = desk.linked();
    await desk.append({
      ...desk.inCalibration(),
      kind: 'plan extended',
      sightings,
      ...(instead && { instead: true as const }),
    });
    await board.mode('collect', desk.signal);
  }

  /** From now on a person turns the simulated board here, or its own hand does again. */
  async turnMyself(on: boolean): Promise<void> {
    await this.#inTurn(undefined, async () => {
      if (on) await this.#hold(FIRST_HELD);
      else {
        this.#desk.change({}, 'ownHand');
        await this.#parts.keep();
      }
    });
  }

  /** Turns the simulated board by so many degrees, where a person turns it. */
  async turnBy(by: Partial<Attitude>): Promise<void> {
    const { ownHand } = this.state;
    if (ownHand)
      await this.#hold(turnedBy(ownHand, by)).catch((error: unknown) => this.report(error));
  }

  /** Presses the trigger of the simulated board. */
  async pressTrigger(): Promise<void> {
    await this.#desk.hand?.press().catch((error: unknown) => this.report(error));
  }

  async #hold(attitude: Attitude): Promise<void> {
    const { hand } = this.#desk;
    if (!hand) return;
    this.#desk.change({ ownHand: attitude }); // at once: the next turn goes on from there
    await Promise.all([hand.hold(attitude), this.#parts.keep()]);
  }

  #looked(look: Look): void {
    const wanted = wantedAim(this.state);
    if (!this.#byItself.looked(look, wanted, this.#parts.choices.now)) return;
    const { main } = nextStep(this.state);
    if (main?.does === 'take one' || main?.does === 'prove') void this.perform(main.does);
  }

  /** What the board said unasked. A press of its trigger that a look was in the way of is carried out from here. */
  #noticed(notice: BoardNotice): void {
    const desk = this.#desk;
    const isInTheWay =
      notice.kind === 'refused' && notice.code === 'busy' && this.attitude.isAsking;
    if (isInTheWay && this.#pending === 0) {
      void this.during(WORK['take one'], () => this.#taking.press());
      return;
    }
    const words = noticeWords(notice);
    desk.say(words, notice.kind === 'refused' ? { kind: 'refused', words } : undefined);
  }

  #carryOut(intention: keyof typeof WORK): Promise<void> {
    const desk = this.#desk;
    const take = this.#taking;
    const open = () => openSlots(desk.calibration());
    switch (intention) {
      case 'link':
      case 'choose':
        return this.#linking.link();
      case 'unlink':
        return this.clear();
      case 'begin':
        return this.#begin();
      case 'take one':
        return take.take(() => open().slice(0, 1), 'fit');
      case 'take sighting':
        return take.take(() => {
          const slots = open();
          return slots.filter((slot) => slot.sighting === slots[0]?.sighting);
        }, 'fit');
      case 'take rest':
        return take.take(open, 'fit');
      case 'take gaps':
        return take.take(() => gapSlots(desk.calibration()), 'fit');
      case 'take more':
        return this.#planMore();
      case 'fit':
        return this.#fit();
      case 'write':
        return write(desk, take, writable(desk.calibration())?.id);
      case 'prove':
        return prove(desk, take, () => openProofSlots(desk.calibration().proofReadings));
      case 'prove again':
        return prove(desk, take, () => openProofSlots([]));
      case 'leave':
        return this.#leave();
      case 'resume':
        return this.#resume();
      case 'take up earlier':
        return this.#takeUpEarlier();
      case 'end':
        return this.#close();
      case 'revert':
        return revert(desk);
      case 'undo':
        return this.#marks.undo();
      case 'redo':
        return this.#marks.redo();
    }
  }

  async #begin(): Promise<void> {
    const desk = this.#desk;
    const { calibration } = desk.state.history;
    if (calibration && !calibration.ended) await desk.end('abandoned', 'Begun again');
    const { serial } = desk.linked().identity;
    const stamp = desk.stamp(serial);
    await desk.append({
      ...stamp,
      calibration: `${serial} ${stamp.time}`,
      kind: 'calibration started',
      plan: cubePlanInDegrees(),
    });
    desk.say(
      calibration && calibration.readings.length > 0
        ? 'Calibration begun. The one before is kept, with a way back to it below.'
        : 'Calibration begun.',
    );
    await desk.linked().mode('collect');
  }

  /** Lets the plan go on where its readings were all taken and more would help. */
  async #planMore(): Promise<void> {
    const desk = this.#desk;
    const board = desk.linked();
    const { moreReadings } = await import('./more-readings.ts'); // of no use before
    const sightings = moreReadings(desk.calibration());
    const count = sightings.reduce((sum, { rolls }) => sum + rolls.length, 0);
    if (count === 0) {
      desk.say('No attitude is left from which a reading would tell more: begin again.');
      return;
    }
    await desk.append({ ...desk.inCalibration(), kind: 'plan extended', sightings });
    desk.say(
      count === 1
        ? 'One reading is added to the plan.'
        : `${count} readings are added to the plan.`,
    );
    await board.mode('collect', desk.signal);
  }

  async #fit(): Promise<void> {
    this.#desk.linked();
    await fitCalibration(this.#desk, this.#parts.fitter);
  }

  /** Leaves the calibration as it is; nothing of it is lost, and it can be taken up again. */
  async #leave(): Promise<void> {
    const desk = this.#desk;
    await desk.end('abandoned', 'Left before it was proven');
    desk.say('The calibration is left.');
    await desk.board?.mode('idle', desk.signal);
  }

  async #resume(): Promise<void> {
    const desk = this.#desk;
    await desk.append({ ...desk.inCalibration(), kind: 'calibration resumed' });
    desk.say('The calibration is taken up again.');
    await desk.linked().mode('collect', desk.signal);
  }

  /** Leaves this calibration for the one before it, which stands where it was left. */
  async #takeUpEarlier(): Promise<void> {
    const desk = this.#desk;
    const { calibration, earlier } = desk.state.history;
    const before = earlier?.at(-1);
    if (!before) return;
    if (calibration && !calibration.ended) {
      await desk.end('abandoned', 'Left for the calibration before it');
    }
    const stamp = { ...desk.stamp(before.board), calibration: before.id };
    await desk.append({ ...stamp, kind: 'calibration resumed' });
    desk.say('The calibration before is here again, as it was left.');
    await desk.linked().mode(collectsNow(desk.state.history) ? 'collect' : 'idle', desk.signal);
  }

  async #close(): Promise<void> {
    await this.#desk.end('proven', 'Every figure of the proof was within its tolerance');
    this.#desk.say('The calibration is closed.');
  }

  async #work(work: Work, task: () => Promise<void>, asked: boolean): Promise<void> {
    this.#pending++;
    if (asked) this.#desk.startAfresh();
    await this.#inTurn(work, task, asked);
    this.#pending--;
  }

  /**
   * Does something when all that was asked before it is done; what goes wrong is shown.
   *
   * @param asked a person asked for it, and has seen what went wrong before
   */
  #inTurn(work: Work | undefined, task: () => Promise<void>, asked = true): Promise<void> {
    this.#tasks++;
    this.#parts.changed();
    this.#turn = this.#turn.then(() => this.#run(work, task, asked));
    return this.#turn;
  }

  async #run(work: Work | undefined, task: () => Promise<void>, asked: boolean): Promise<void> {
    const desk = this.#desk;
    if (!asked && work) desk.startAfresh();
    if (asked) desk.change({ ...(work && { work }) }, 'trouble');
    else if (work) desk.show(work);
    try {
      await this.#parts.ready();
      await task();
    } catch (error) {
      desk.report(error);
    } finally {
      this.#tasks--;
      desk.change({}, 'work');
    }
  }
}
