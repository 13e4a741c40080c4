// What the bench loads when it is asked for is there before the virtual clock runs: it does not wait for files.
import '../../src/steps/conformance/run.ts';
import 'fake-indexeddb/auto';
import { IDBFactory } from 'fake-indexeddb';
import { VirtualClock } from '../protocol/virtual-clock.ts';
import { checkSettings, defaultSettings } from '../../firmware-sim/settings.ts';
import type { Build, SimulatedBoard } from '../../firmware-sim/board.ts';
import type { Clock } from '../../src/protocol/clock.ts';
import { LinkError, type ByteLink } from '../../src/protocol/link.ts';
import type { SimulatorSettings } from '../../src/protocol/simulator.ts';
import type { Entry, StoredEntry } from '../../src/records/entries.ts';
import {
  LogbookError,
  openLogbook,
  type Logbook,
  type LogbookFault,
} from '../../src/records/logbook.ts';
import { Bench, type BenchParts, type Sight } from '../../src/steps/bench.ts';
import type { Forecaster } from '../../src/steps/collecting/forecasting.ts';
import type { PlaceState } from '../../src/steps/place-state.ts';
import { without } from '../../src/steps/copy-without.ts';
import type { CalibrationState } from '../../src/steps/calibration-state.ts';
import { runFit, type Fitter, type LiveFitter } from '../../src/steps/fitting.ts';
import type { Intention } from '../../src/steps/next-step.ts';
import type { BenchPlace } from '../../src/steps/place.ts';
import { inProcessBoard } from '../../src/transport/in-process.ts';

/** A page that a test hides and shows. */
export class SightInProcess implements Sight {
  #hidden = false;
  readonly #listeners = new Set<() => void>();

  isHidden(): boolean {
    return this.#hidden;
  }

  onSeen(listener: () => void): () => void {
    this.#listeners.add(listener);
    return () => this.#listeners.delete(listener);
  }

  hide(): void {
    this.#hidden = true;
  }

  show(): void {
    this.#hidden = false;
    for (const listener of this.#listeners) listener();
  }
}

/** A whole bench without a browser: the real simulated board on a virtual clock, and a logbook in memory. */
export class BenchInProcess {
  bench!: Bench;
  /** The board that was made last, for what only a test does to it. */
  board!: SimulatedBoard;
  /** Every simulated board by its seed, as it was made last. */
  readonly boards = new Map<number, SimulatedBoard>();
  /** Whether links to simulated boards can be opened. */
  isReachable = true;
  /** How many times the link to a simulated board was opened, or was to be. */
  openings = 0;
  /** Whether the system says when a board is there again. */
  saysReturn = false;
  /** Whether a person can see the page. */
  readonly sight = new SightInProcess();
  /** Links of other kinds than simulated boards. */
  kinds: BenchParts['kinds'] = {};
  /** Called as soon as the board has changed what it keeps, before it says so. */
  onMemory: () => void = () => {};
  /** Whether no other page holds the bench. */
  isAlone = true;
  /** Whether what is kept beside the entries can be read. */
  isReadable = true;
  /** What becomes of a line on its way from the board, its LF not counted. */
  garble: (line: string) => string = (line) => line;
  /** What stands between the bench and its simulated board. */
  around: (link: ByteLink, clock: Clock) => ByteLink = (link) => link;
  /** Makes fits; the real ones, unless a test that needs the same one often keeps it. */
  fitter: Fitter = async (request) => runFit(request);
  /** Makes the provisional fits from the next reload on; none, unless a test looks at them. */
  liveFitter: LiveFitter | undefined;
  /** Works out how many readings are left; as `liveFitter` is, from the next page on. */
  forecaster: Forecaster | undefined;
  /** Called before entries are written; what it gives, if anything, is the outcome in place of writing them. */
  onAppend: (entries: readonly Entry[]) => LogbookFault | undefined = () => undefined;
  /** Called when entries have been written, before the bench is told. */
  onAppended: (entries: readonly Entry[]) => Promise<void> = async () => {};
  #indexedDB = new IDBFactory();
  #clock = new VirtualClock();
  #logbook!: Logbook;
  #forgetful = false;
  readonly #awaiting = new Set<() => void>();
  /** The values kept beside the entries, by key. */
  readonly #kept = new Map<string, unknown>();

  private constructor(
    private readonly settings: SimulatorSettings,
    private readonly build: Partial<Build>,
  ) {}

  static async opened(
    settings: Partial<SimulatorSettings> = {},
    build: Partial<Build> = {},
  ): Promise<BenchInProcess> {
    const bench = new BenchInProcess({ ...defaultSettings, ...settings }, build);
    await bench.reload();
    return bench;
  }

  /** A second page on the same logbook, opened while this one is there. */
  async anotherPage({ isAlone }: { isAlone: boolean }): Promise<BenchInProcess> {
    const other = new BenchInProcess(this.settings, this.build);
    other.#indexedDB = this.#indexedDB;
    other.#clock = this.#clock;
    other.isAlone = isAlone;
    await other.reload();
    return other;
  }

  /**
   * A bench of its own that has all that this one has kept, at the same moment: where the same beginning is wanted many
   * times. Its page is not opened yet: `reload` does that.
   */
  async copy(): Promise<BenchInProcess> {
    const other = new BenchInProcess(this.settings, this.build);
    other.fitter = this.fitter;
    await other.#clock.run(this.#clock.now());
    const logbook = await openLogbook({ indexedDB: other.#indexedDB });
    if (!logbook.ok) throw new Error(logbook.message);
    const entries = (await this.logbook()).map(
      (entry) => without(entry, 'number', 'foreign') as Entry,
    );
    await logbook.append(...entries);
    for (const [key, value] of this.#kept) await logbook.keep(key, value);
    for (const [key, value] of this.#kept) other.#kept.set(key, value);
    logbook.close();
    return other;
  }

  /** As when the page is closed at this moment and opened again. */
  async reload(): Promise<void> {
    this.#logbook?.close();
    const logbook = await openLogbook({ indexedDB: this.#indexedDB });
    if (!logbook.ok) throw new Error(logbook.message);
    this.#logbook = logbook;
    let conversations = 0;
    this.bench = new Bench({
      logbook: this.#watched(logbook),
      hold: async () => this.isAlone,
      fitter: (request) => this.fitter(request),
      ...(this.liveFitter && { liveFitter: this.liveFitter }),
      ...(this.forecaster && { forecaster: this.forecaster }),
      simulator: {
        defaults: this.settings,
        check: checkSettings,
        make: (settings, memory) => {
          const made = inProcessBoard(settings, this.#clock, {
            ...memory,
            build: this.build,
            onMemory: (image) => {
              memory.onMemory(image);
              this.onMemory();
            },
          });
          this.board = made.board;
          this.boards.set(settings.seed, made.board);
          const link = this.around(this.#garbled(made.link), this.#clock);
          return { ...made, link, end: () => {} };
        },
      },
      kinds: this.kinds,
      system: 'linux',
      sight: this.sight,
      clock: this.#clock,
      random: () => ++conversations / 1000,
      today: () => new Date(Date.UTC(2031, 4, 1) + this.#clock.now()),
    });
    await this.#clock.until(this.bench.open());
  }

  /** The place at hand. */
  get place(): BenchPlace {
    return this.bench.atHand;
  }

  get state(): PlaceState {
    return this.place.state;
  }

  get calibration(): CalibrationState {
    const { calibration } = this.state.history;
    if (!calibration) throw new Error('no calibration was begun');
    return calibration;
  }

  /** The values kept beside the entries, by key. */
  get kept(): ReadonlyMap<string, unknown> {
    return this.#kept;
  }

  /** Asks for one thing after the other, waiting for each. */
  async ask(...intentions: Intention[]): Promise<void> {
    for (const intention of intentions) {
      const links = intention === 'link' && this.state.link.state === 'none';
      await this.#clock.until(links ? this.bench.link('simulated') : this.place.perform(intention));
    }
  }

  /** From now on every simulated board starts with an empty memory, as after a repair. */
  forgetBoards(): void {
    this.#forgetful = true;
  }

  /** Waits for whatever was asked of the bench or the board. */
  run<T>(work: Promise<T>): Promise<T> {
    return this.#clock.until(work);
  }

  /** The system says that the boards whose links were lost are there again. */
  returnLinks(): void {
    for (const listener of this.#awaiting) listener();
  }

  get clock(): VirtualClock {
    return this.#clock;
  }

  /** Lets time pass, with room for the logbook, which keeps no virtual time, to write. */
  async pass(milliseconds: number): Promise<void> {
    for (let left = milliseconds; left > 0; left -= 50) await this.#clock.run(Math.min(left, 50));
  }

  /** The logbook itself. */
  get records(): Logbook {
    return this.#logbook;
  }

  logbook(): Promise<readonly StoredEntry[]> {
    return this.#logbook.entriesOfBoard(this.state.history.identity!.serial);
  }

  /** The logbook, whose writing a test can watch and spoil. */
  #watched(logbook: Logbook): Logbook {
    const append: Logbook['append'] = async (...entries) => {
      const spoilt = this.onAppend(entries);
      if (spoilt) return spoilt;
      const outcome = await logbook.append(...entries);
      await this.onAppended(entries);
      return outcome;
    };
    return {
      ok: true,
      append,
      entriesOfBoard: (board) => logbook.entriesOfBoard(board),
      boards: () => logbook.boards(),
      boardsInShort: () => logbook.boardsInShort(),
      batches: (board) => logbook.batches(board),
      bench: logbook.bench,
      highestNumber: () => logbook.highestNumber(),
      merge: (entries, notes) => logbook.merge(entries, notes),
      write: (...notes) => logbook.write(...notes),
      notesOf: (paper) => logbook.notesOf(paper),
      papers: (of) => logbook.papers(of),
      keep: (key, value) => {
        this.#kept.set(key, value);
        return logbook.keep(key, value);
      },
      kept: async (key) => {
        if (!this.isReadable) {
          throw new LogbookError({ ok: false, cause: 'failed', message: 'It cannot be read.' });
        }
        return this.#forgetful && key.endsWith('memory') ? undefined : logbook.kept(key);
      },
      close: () => logbook.close(),
    };
  }

  /** The board's own link, each line of which can be changed on the way. */
  #garbled(link: ByteLink): ByteLink {
    let pending = '';
    return {
      label: link.label,
      open: async ({ bytes, closed }) => {
        this.openings++;
        if (!this.isReachable) throw new LinkError('unreachable', 'the board is not there');
        pending = '';
        return link.open({
          closed,
          bytes: (chunk) => {
            const lines = (pending + new TextDecoder('latin1').decode(chunk)).split('\n');
            pending = lines.pop()!;
            for (const line of lines) bytes(Buffer.from(`${this.garble(line)}\n`, 'latin1'));
          },
        });
      },
      write: (bytes) => link.write(bytes),
      close: () => link.close(),
      ...(this.saysReturn && {
        onReturn: (listener: () => void) => {
          this.#awaiting.add(listener);
          return () => this.#awaiting.delete(listener);
        },
      }),
    };
  }
}
