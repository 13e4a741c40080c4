import type { Clock } from '../protocol/clock.ts';
import { LinkError, type ByteLink, type LinkKind } from '../protocol/link.ts';
import type { SimulatorSettings } from '../protocol/simulator.ts';
import type { Entry, StoredEntry } from '../records/entries.ts';
import { LogbookError, type Logbook } from '../records/logbook.ts';
import { BenchError, secondLinkWords } from './bench-words.ts';
import type { Fitter, LiveFitter } from './fitting.ts';
import { KeptChoices } from './collecting/collecting-choices.ts';
import type { Forecaster } from './collecting/forecasting.ts';
import { keepBench, keptBench, type KeptPlace } from './kept-places.ts';
import {
  KIND_WORDS,
  KINDS,
  linkHelp,
  type KindName,
  type LinkHelp,
  type System,
} from './link-help.ts';
import type { Sight, SimulatedBoard, Tie } from './linking.ts';
import { Exchange } from './logbook/exchange.ts';
import { LogbookDesk } from './logbook/logbook-desk.ts';
import { toldOf, type News, type Written } from './logbook/news.ts';
import { OpenedCalibration } from './logbook/opened-calibration.ts';
import { Papers } from './papers.ts';
import { BenchPlace } from './place.ts';
import { BenchSite } from './site/bench-site.ts';
import { isSameBoard, SimulatorShelf } from './simulator-shelf.ts';

export type { Sight, SimulatedBoard } from './linking.ts';

export interface BenchParts {
  logbook: Logbook;
  fitter: Fitter;
  /** Makes the provisional fits of open calibrations; absent where none are wanted. */
  liveFitter?: LiveFitter;
  /** Works out how many readings are left; absent where that is not wanted. */
  forecaster?: Forecaster;
  /**
   * Takes the logbook's bench for this page until the page closes; resolves with whether it did. Absent where no other
   * page can be.
   */
  hold?(): Promise<boolean>;
  /** Resolves once the page that has the bench has let it go for good. Absent where that cannot be known. */
  freed?(): Promise<void>;
  /** What the other pages write, and what this one does. Absent where no other page can be. */
  news?: News;
  simulator: {
    defaults: SimulatorSettings;
    /** Rejects settings that no simulated board can have, with a RangeError that says why. */
    check(settings: SimulatorSettings): void;
    /** @param saved image of its memory, as `onMemory` gave it */
    make(
      settings: SimulatorSettings,
      memory: { saved?: Uint8Array; onMemory(image: Uint8Array): Promise<void> },
    ): SimulatedBoard;
  };
  /** Other kinds of link; one that is absent is unsupported. */
  kinds: {
    serial?: LinkKind;
    bluetooth?: LinkKind;
    /** The link to the board behind an address. Throws a {@link LinkError}. */
    socket?(address: string): ByteLink;
  };
  system: System;
  sight: Sight;
  /** Whether the person has asked the system for less motion. */
  prefersCalm?(): boolean;
  clock: Clock;
  /** A fresh random number in [0, 1). */
  random(): number;
  /** The time of day, for the logbook. */
  today(): Date;
}

/** A kind of link as it is offered. */
export interface OfferedKind {
  name: KindName;
  label: string;
  /** What its button says. */
  offer: string;
  words: string;
  /** Why there is none here, and what to do. */
  missing?: LinkHelp;
}

/** The bench of this page: the places at it, one board at each, and which of them is at hand. */
export class Bench {
  /** The logbook as a person reads it, whichever board is linked and whichever page has the bench. */
  readonly logbook: LogbookDesk;
  /** The calibration of the logbook that is opened, to be fitted and judged with no board linked. */
  readonly opened: OpenedCalibration;
  /** Takes entries out as files, and brings them in. */
  readonly exchange: Exchange;
  /** What is written together about several boards: check courses, workshops. */
  readonly papers: Papers;
  /** Where the bench stands. */
  readonly site: BenchSite;
  /** How a person is told of readings without looking. */
  readonly choices: KeptChoices;
  readonly #parts: BenchParts;
  readonly #logbook: Logbook;
  readonly #listeners = new Set<() => void>();
  readonly #shelf: SimulatorShelf;
  #places: BenchPlace[] = [];
  #atHand: BenchPlace;
  /** Why there is no link of a kind here. */
  readonly #missing = new Map<KindName, LinkHelp>();
  /** Settles once this page has the bench, or cannot have it. */
  #holding: Promise<void> | undefined;
  /** It has it: that is not given back, and not asked for twice, whatever goes wrong afterwards. */
  #isHeld = false;
  #elsewhere: 'held' | 'free' | undefined;
  /** It is being waited for the page that has the bench to let it go. */
  #isWaiting = false;
  /** Settles when whatever was kept is linked again, as far as it goes by itself. */
  #restored: Promise<void> = Promise.resolve();

  constructor(parts: BenchParts) {
    this.#parts = parts;
    this.#logbook = toldOf(parts.logbook, (written, how) => {
      parts.news?.tell(written);
      if (how === 'merged') this.#hear(written);
      else {
        this.logbook.wrote();
        this.papers.wrote(written);
      }
    });
    parts.news?.onNews((written) => this.#hear(written));
    this.papers = new Papers(this.#logbook, () => this.#hold());
    this.logbook = new LogbookDesk(this.#logbook, parts.today);
    this.site = new BenchSite(this.#logbook, () => this.#hold());
    this.exchange = new Exchange({
      logbook: this.#logbook,
      today: () => parts.today(),
      ready: () => this.#hold(),
      underWay: () =>
        this.#places.flatMap(({ serial, state: { history } }) =>
          serial === undefined || !history.calibration || history.calibration.ended ? [] : [serial],
        ),
    });
    this.exchange.subscribe(() => this.#tell());
    this.opened = new OpenedCalibration({
      ...parts,
      logbook: this.#logbook,
      ready: () => this.#hold(),
      isInHand: (calibration) => this.#placesOf(calibration).some(isStanding),
      written: (calibration) => this.#recollect(calibration),
      changed: () => this.#tell(),
    });
    this.#shelf = new SimulatorShelf(this.#logbook, parts.simulator.defaults, (fault) =>
      this.#atHand.report(new LogbookError(fault)),
    );
    this.choices = new KeptChoices(
      this.#logbook,
      () => parts.prefersCalm?.() === true,
      (fault) => this.#atHand.report(new LogbookError(fault)),
    );
    this.#atHand = this.#newPlace();
    this.#places = [this.#atHand];
    parts.sight.onSeen(() => void this.#lookForKinds());
  }

  /** Every place that shows something; the one at hand is among them, and may be empty. */
  get places(): readonly BenchPlace[] {
    return this.#places.filter((place) => place === this.#atHand || isInUse(place));
  }

  /** The place that the screen shows. */
  get atHand(): BenchPlace {
    return this.#atHand;
  }

  /**
   * Another page has the bench (`held`), or had it and let it go, so that it can be taken over (`free`). Then nothing is
   * linked here, and nothing written: two pages would ask one board for two things at once, and each would go by a
   * history that the other has outrun. Looking is safe. Bringing in is not: entries of other benches can change what is
   * under way, and only the page that has the bench knows what is.
   */
  get elsewhere(): 'held' | 'free' | undefined {
    return this.#elsewhere;
  }

  /** Anything is being done at any place, or with the logbook: the page must not be loaded anew now. */
  get isAtWork(): boolean {
    return (
      this.opened.state.work !== undefined ||
      this.exchange.state.work !== undefined ||
      this.#places.some((place) => place.isAtWork)
    );
  }

  /**
   * Every kind of link, those that cannot be had here too. The likeliest is first: the kind of the boards at the bench,
   * and where there is none the simulated board, since whoever comes for the first time may have no other.
   */
  get kinds(): readonly OfferedKind[] {
    const here = this.#places.findLast(({ state }) => state.link.state !== 'none');
    const likeliest = here?.state.link.kind ?? 'simulated';
    return [likeliest, ...KINDS.filter((name) => name !== likeliest)].map((name) => {
      const missing = this.#missing.get(name);
      const another = name === 'simulated' && this.#simulators().length > 0;
      return {
        name,
        ...KIND_WORDS[name],
        ...(another && { offer: 'Link another simulated board' }),
        ...(missing && { missing }),
      };
    });
  }

  /** Calls `listener` after every change of anything here, until the returned function is called. */
  subscribe(listener: () => void): () => void {
    this.#listeners.add(listener);
    return () => this.#listeners.delete(listener);
  }

  /** Takes up the work where it was when the page closed, or where another page has let it go. */
  async open(): Promise<void> {
    void this.#lookForKinds();
    await this.#atHand.during({ what: 'Opening the bench', stoppable: false }, async () => {});
    await this.#restored;
  }

  /** Brings a place to hand. */
  pick(place: BenchPlace): void {
    this.#bringToHand(place);
    this.#places = this.#places.filter((each) => each === place || isInUse(each));
    void this.#keep();
    this.#tell();
  }

  /** Brings an empty place to hand, for another board. */
  linkAnother(): void {
    const empty = this.#places.find((place) => place.isEmpty) ?? this.#newPlace();
    if (!this.#places.includes(empty)) this.#places = [...this.#places, empty];
    empty.showSimulator(this.#nextSimulator(), '');
    this.pick(empty);
  }

  /**
   * Links a board at an empty place. Call it in the gesture itself, before any await: the browser may be about to ask
   * which board.
   *
   * @param how the address of a board behind one; how a simulated board is to be set
   */
  async link(
    kind: KindName,
    how: { address?: string; simulator?: Partial<SimulatorSettings> } = {},
  ): Promise<void> {
    if (kind === 'simulated') return this.#linkSimulated(how.simulator ?? {});
    if (!this.#atHand.isEmpty) this.linkAnother();
    const place = this.#atHand;
    const held = this.#holding !== undefined;
    const picking = this.#choose(kind, how.address).then((tie) => this.#firstTie(tie, place));
    await place.linkOver(kind, picking);
    if (!held && place.serial !== undefined) this.pick(place); // rather than what was kept
    await this.#lookForKinds(); // a radio may have been switched on since
  }

  /**
   * Writes to the logbook what belongs to one board and changes nothing on it, whether it is linked or not.
   *
   * @throws BenchError where another page has the bench
   * @throws LogbookError where it could not be written
   */
  async record(board: string, ...entries: Entry[]): Promise<void> {
    await this.#hold();
    const place = this.#places.find(({ serial }) => serial === board);
    if (place) await place.record(...entries);
    else {
      const written = await this.#logbook.append(...entries);
      if (!written.ok) throw new LogbookError(written);
    }
  }

  /** All that the logbook says of a board. @throws LogbookError where it cannot be read */
  entriesOf(board: string): Promise<StoredEntry[]> {
    return this.#logbook.entriesOfBoard(board);
  }

  /** Sets the simulated board at hand: at once where it is linked, else when it will be. */
  async adjustSimulator(change: Partial<SimulatorSettings>): Promise<void> {
    const place = this.#atHand;
    await place.during({ what: 'Setting the simulated board', stoppable: false }, async () => {
      const before = place.state.simulator ?? this.#nextSimulator();
      const settings = this.#checked({ ...before, ...change }, place);
      // the one that is linked goes back on the shelf with its memory
      if (!isSameBoard(before, settings)) await place.clear();
      await place.tie?.simulated?.control.adjust(change);
      await this.#shelf.set(settings);
      place.showSimulator(settings, 'The simulated board is set.');
      await this.#keep();
    });
  }

  async #linkSimulated(change: Partial<SimulatorSettings>): Promise<void> {
    if (!this.#holding) {
      await this.open();
      if (!this.#holding) return; // another page has the bench, which was told
      if (this.#places.some((place) => place.serial !== undefined)) return; // what was kept is here again
    }
    if (!this.#atHand.isEmpty) this.linkAnother();
    const place = this.#atHand;
    await place.linkOver('simulated', this.#setUp(place, change));
  }

  async #setUp(place: BenchPlace, change: Partial<SimulatorSettings>): Promise<Tie> {
    const settings = this.#checked(
      { ...this.#nextSimulator(), ...place.state.simulator, ...change },
      place,
    );
    await this.#shelf.set(settings);
    place.showSimulator(settings);
    return this.#simulated(settings);
  }

  async #simulated(settings: SimulatorSettings): Promise<Tie> {
    const memory = await this.#shelf.memoryOf(settings);
    const simulated = this.#parts.simulator.make(settings, memory);
    return { kind: 'simulated', link: simulated.link, simulated };
  }

  /** @throws BenchError where no board can be set so, or that very board is at another place */
  #checked(settings: SimulatorSettings, place: BenchPlace): SimulatorSettings {
    try {
      this.#parts.simulator.check(settings);
    } catch (error) {
      if (!(error instanceof RangeError)) throw error;
      throw new BenchError('bad_setting', error.message);
    }
    if (this.#simulators(place).some((other) => isSameBoard(other, settings))) {
      throw new BenchError('same_simulated');
    }
    return settings;
  }

  /** How the simulated boards at all places but this one are set. */
  #simulators(but?: BenchPlace): SimulatorSettings[] {
    return this.#places
      .filter((place) => place !== but && place.state.link.state !== 'none')
      .flatMap(({ state }) => (state.simulator ? [state.simulator] : []));
  }

  #nextSimulator(): SimulatorSettings {
    return this.#shelf.free(this.#simulators());
  }

  /** Lets the person pick a link; before any await, as browsers demand it. */
  async #choose(kind: KindName, address = ''): Promise<Tie> {
    const { kinds } = this.#parts;
    if (kind === 'socket' && kinds.socket) return { kind, link: kinds.socket(address), address };
    const offered = kind === 'serial' || kind === 'bluetooth' ? kinds[kind] : undefined;
    if (!offered) throw new LinkError('unsupported', 'there are no such links here');
    return { kind, link: await offered.choose() };
  }

  /** A link that a place already has is left to it where it stands; where it was lost the new place takes its board over. */
  async #firstTie(tie: Tie, place: BenchPlace): Promise<Tie | undefined> {
    const other = this.#places.find((each) => each !== place && each.tie?.link === tie.link);
    if (!other) return tie;
    if (other.hasBoard) {
      this.#tellOfSecond(other, tie);
      return undefined;
    }
    await this.#replace(other, place);
    return tie;
  }

  /** Whether the place may have the board that answered there. A person who asked for it is told if not. */
  #mayHave(place: BenchPlace, serial: string, asked: boolean): boolean {
    const other = this.#places.find((each) => each !== place && each.serial === serial);
    if (other?.hasBoard) {
      if (asked) this.#tellOfSecond(other, place.tie);
      return false;
    }
    if (other) void this.#replace(other, place);
    return true;
  }

  #tellOfSecond(other: BenchPlace, second: Tie | undefined): void {
    const board = {
      name: '',
      serial: other.serial ?? '',
      ...other.state.history.identity,
    };
    const first = other.state.link.label ?? '';
    this.pick(other);
    other.report(
      new BenchError('at_bench', secondLinkWords(board, first, second?.link.label ?? '')),
    );
  }

  /** A place whose link was lost gives way to another that has its board. */
  async #replace(lost: BenchPlace, place: BenchPlace): Promise<void> {
    this.#places = this.#places
      .filter((each) => each !== place)
      .map((each) => (each === lost ? place : each));
    if (this.#atHand === lost) this.#bringToHand(place);
    this.#tell();
    await lost.retire();
  }

  /** Where a calibration is the newest. */
  #placesOf(calibration: string): BenchPlace[] {
    return this.#places.filter((place) => place.state.history.calibration?.id === calibration);
  }

  /** Something was written of a calibration while no place that shows it had its board. */
  async #recollect(calibration: string): Promise<void> {
    await Promise.all(this.#placesOf(calibration).map((place) => place.recollect()));
  }

  #newPlace(): BenchPlace {
    const { fitter, liveFitter, forecaster, clock, random, today, system, sight } = this.#parts;
    const place: BenchPlace = new BenchPlace({
      logbook: this.#logbook,
      fitter,
      ...(liveFitter && { liveFitter }),
      ...(forecaster && { forecaster }),
      choices: this.choices,
      clock,
      random,
      today,
      system,
      sight,
      ready: () => this.#hold(),
      nextSimulator: () => this.#nextSimulator(),
      choose: (kind) => this.#choose(kind).then((tie) => this.#firstTie(tie, place)),
      mayHave: (serial, asked) => this.#mayHave(place, serial, asked),
      keep: () => this.#keep(),
      isAtHand: (asking) => this.#atHand === asking,
      changed: () => this.#tell(),
    });
    return place;
  }

  #bringToHand(place: BenchPlace): void {
    this.#atHand = place;
    place.lookAhead();
  }

  #tell(): void {
    for (const listener of this.#listeners) listener();
  }

  /** Takes the bench for this page, and up what was kept of it. */
  #hold(): Promise<void> {
    this.#holding ??= this.#takeBench().catch((error: unknown) => {
      this.#holding = undefined;
      throw error;
    });
    return this.#holding;
  }

  async #takeBench(): Promise<void> {
    const { hold } = this.#parts;
    this.#isHeld ||= !hold || (await hold());
    this.#elsewhere = this.#isHeld ? undefined : 'held';
    if (!this.#isHeld) {
      void this.#awaitFreed();
      throw new BenchError('held_elsewhere');
    }
    await this.#shelf.load();
    await this.choices.load();
    const { places, atHand } = await keptBench(this.#logbook);
    const kept = await Promise.all(
      places.map(async (each) => {
        const place = this.#newPlace();
        await place.restore(each);
        return { ...each, place };
      }),
    );
    this.#places = [...kept.map(({ place }) => place), ...this.#places];
    const picked = kept.find(({ serial }) => serial === atHand) ?? kept[0];
    if (picked && this.#atHand.state.link.state === 'none') this.#bringToHand(picked.place);
    else this.#atHand.showSimulator(this.#nextSimulator());
    this.#restored = this.#restore(kept);
  }

  async #awaitFreed(): Promise<void> {
    if (this.#isWaiting || !this.#parts.freed) return;
    this.#isWaiting = true;
    await this.#parts.freed();
    this.#isWaiting = false;
    if (this.#elsewhere === undefined) return;
    this.#elsewhere = 'free';
    this.#tell();
  }

  /** Something was written that this page has not seen. */
  #hear(written: Written): void {
    this.logbook.wrote();
    this.papers.wrote(written);
    for (const place of this.#places) {
      if (place.serial !== undefined && written.boards.includes(place.serial))
        void place.recollect();
    }
  }

  /** Links again whatever can be linked without a person. */
  async #restore(kept: readonly (KeptPlace & { place: BenchPlace })[]): Promise<void> {
    const own = kept.map(async ({ place, kind, address, simulator }) => {
      if (kind === 'socket') await place.linkOver(kind, this.#choose(kind, address));
      if (simulator) await place.linkOver(kind, this.#simulated(simulator));
    });
    const chosen = (['serial', 'bluetooth'] as const).map((kind) =>
      this.#lookBehind(
        kind,
        kept.filter((each) => each.kind === kind).map(({ serial }) => serial),
      ),
    );
    await Promise.all([...own, ...chosen]);
  }

  /** Looks behind every link that the browser gives back for boards with these serial numbers. */
  async #lookBehind(kind: 'serial' | 'bluetooth', serials: readonly string[]): Promise<void> {
    if (serials.length === 0) return;
    const links = await this.#permitted(kind);
    await Promise.all(
      links.map(async (link) => {
        const place = this.#newPlace();
        await place.linkOver(kind, Promise.resolve({ kind, link }), serials);
        if (!this.#places.includes(place)) await place.retire();
      }),
    );
  }

  async #permitted(kind: 'serial' | 'bluetooth'): Promise<readonly ByteLink[]> {
    try {
      return (await this.#parts.kinds[kind]?.permitted()) ?? [];
    } catch (error) {
      if (!(error instanceof LinkError)) throw error;
      return []; // then the person is asked
    }
  }

  async #lookForKinds(): Promise<void> {
    const { kinds, system } = this.#parts;
    const none = async () => new LinkError('unsupported', 'there are no such links here');
    for (const name of ['serial', 'bluetooth'] as const) {
      const missing = await (kinds[name]?.missing() ?? none());
      if (missing) this.#missing.set(name, linkHelp(missing.cause, name, system));
      else this.#missing.delete(name);
    }
    if (!kinds.socket) this.#missing.set('socket', linkHelp('unsupported', 'socket', system));
    this.#tell();
  }

  async #keep(): Promise<void> {
    if (!this.#holding) return;
    const places = this.#places.flatMap((place) => place.kept ?? []);
    const atHand = this.#atHand.serial;
    const kept = await keepBench(this.#logbook, {
      places,
      ...(atHand !== undefined && { atHand }),
    });
    if (!kept.ok) this.#atHand.report(new LogbookError(kept));
  }
}

/** Whether the board of a place is linked, or about to be. */
const isStanding = ({ state }: BenchPlace): boolean =>
  state.link.state === 'linked' || state.link.state === 'linking';

/** Whether a place shows something that a person may come back to. */
const isInUse = (place: BenchPlace): boolean =>
  !place.isEmpty ||
  place.tie !== undefined ||
  (place.state.trouble !== undefined && place.state.link.state === 'none');
