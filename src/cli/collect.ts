import { createInterface } from 'node:readline';
import { readAllFrom, type Board, type BoardReading } from '../protocol/board.ts';
import { ProtocolError } from '../protocol/errors.ts';
import type { Plan } from '../records/entries.ts';
import { lineWords, rollWords } from '../steps/attitude-words.ts';
import type { Slot } from '../steps/calibration-state.ts';
import { cubePlanInDegrees } from '../steps/customary-plan.ts';
import { isRefusal } from '../steps/refusals.ts';
import { realClock } from '../transport/real-clock.ts';
import { atBoard, Stopped, type LinkOptions, type Workplace } from './board-link.ts';
import { CollectedFile } from './collected-file.ts';
import { failed, type Outcome } from './outcome.ts';

export interface CollectOptions extends LinkOptions {
  out: string;
  /** How many readings the file is to have; the whole plan unless told. */
  readings?: number;
  /** The host asks the board for each reading when a person presses Enter, instead of the board's own trigger. */
  capture: boolean;
  /** Magnetic north was not set out: azimuths of the plan count from any line, and stay out of the file. */
  anyNorth: boolean;
}

/** After the link was lost it is opened again this often, with so many milliseconds between. */
const RELINKS = 5;
const RELINK_MS = 1000;

/** After these of the board's refusals the same reading can simply be taken again. */
const PASSING = ['saturated', 'busy', 'low_power'] as const;

/** `collect`: the readings of a plan, one after the other, each on disk before the next is asked for. */
export function collect(options: CollectOptions): Promise<Outcome> {
  const plan: Plan = {
    ...cubePlanInDegrees(),
    azimuths: options.anyNorth ? 'relative' : 'absolute',
  };
  return atBoard(options, async (place) => {
    const file = CollectedFile.at(options.out, plan);
    const collecting = new Collecting(file, options, place);
    return collecting.run();
  });
}

class Collecting {
  readonly #target: number;
  readonly #whole: number;
  /** Ends the wait for something to happen. */
  #wake = (): void => {};
  /** Why the conversation ended; absent while it lasts. */
  #lost: ProtocolError | undefined;
  /** Why no reading can be stored any more. */
  #stopped: Stopped | undefined;
  /** Enter was pressed. */
  #pressed = false;
  /** Nothing more comes from the keyboard. */
  #inputEnded = false;
  /** The place that was shown last. */
  #shown: Slot | undefined;

  constructor(
    private readonly file: CollectedFile,
    private readonly options: CollectOptions,
    private readonly place: Workplace,
  ) {
    this.#whole = file.count + file.openPlaces().length;
    this.#target = Math.min(options.readings ?? this.#whole, this.#whole);
  }

  async run(): Promise<Outcome> {
    const { file, place } = this;
    if (file.isBegun) place.say(`${file.path} holds ${file.count} readings; they stay.`);
    const keyboard = this.options.capture ? createInterface({ input: process.stdin }) : undefined;
    keyboard?.on('line', () => {
      this.#pressed = true;
      this.#wake();
    });
    keyboard?.on('close', () => {
      this.#inputEnded = true;
      this.#wake();
    });
    const wake = () => this.#wake();
    place.signal.addEventListener('abort', wake);
    try {
      return await this.#overLinks();
    } finally {
      place.signal.removeEventListener('abort', wake);
      keyboard?.close();
    }
  }

  /** Collects over one link after the other, until all is there or the board stays away. */
  async #overLinks(): Promise<Outcome> {
    for (let lost = 0; ;) {
      const before = this.file.count;
      try {
        return await this.#overOneLink();
      } catch (error) {
        if (error instanceof LeftInOrder) return this.#unfinished(error.message);
        if (error instanceof Stopped) return failed(error.message);
        if (!(error instanceof ProtocolError)) throw error;
        if (error.cause === 'cancelled') return this.#unfinished('Stopped.');
        if (this.file.count > before) lost = 0;
        lost += 1;
        const wasLinked = this.file.isBegun;
        if (!isOfTheLink(error) || !wasLinked || lost > RELINKS) {
          return this.#unfinished(error.message);
        }
        this.place.say(`${error.message}\nLinking again (${lost} of ${RELINKS}) …`);
        await new Promise<void>((resolve) => void realClock.after(RELINK_MS, resolve));
      }
    }
  }

  async #overOneLink(): Promise<Outcome> {
    const { file, place, options } = this;
    this.#lost = undefined;
    this.#shown = undefined;
    const board = await place.link({
      onReading: (reading) => this.#landed(reading),
      onLost: (error) => {
        this.#lost = error;
        this.#wake();
      },
    });
    if (!options.capture && !board.identity.capabilities.includes('trigger')) {
      throw new Stopped(
        'This board has no trigger. Nothing was changed. Run the command with --capture, and press Enter for each reading.',
      );
    }
    await this.#fetchMissed(board);
    if (file.count < this.#target) {
      file.collecting(true);
      await board.mode('collect', place.signal);
      try {
        await this.#untilThere(board);
      } catch (error) {
        // Left in order: what the board gives from now on is for no place of the plan.
        if (error instanceof LeftInOrder) await this.#leave(board);
        throw error;
      }
      await this.#leave(board);
    }
    if (file.isCollecting) file.collecting(false); // the link was lost as the last reading came
    return this.#done(board);
  }

  async #leave(board: Board): Promise<void> {
    await board.mode('idle'); // the readings that were on their way have landed after this
    this.file.collecting(false);
  }

  /** A reading that was taken when the link was lost has the place that was shown then; of others nobody knows the aim. */
  async #fetchMissed(board: Board): Promise<void> {
    const { file, place } = this;
    const memory = await board.memory(place.signal);
    const isNew = !file.isBegun;
    file.from(board.identity, memory.last);
    if (isNew) return;
    const missed: BoardReading[] = [];
    const unreadable = (_: number, error: ProtocolError) => place.say(error.message);
    for await (const reading of readAllFrom(board, file.after, place.signal, unreadable)) {
      if (!file.holds(reading)) missed.push(reading);
    }
    const [first] = missed;
    const follows = first?.reading === file.after + 1 || (file.after === 0 && memory.dropped === 0);
    const slot = file.openPlaces()[0];
    const placed =
      file.isCollecting && first && slot && follows && file.count < this.#target
        ? first
        : undefined;
    if (placed) this.#store(placed, slot!, 'fetched from the board’s memory');
    const others = missed.filter((reading) => reading !== placed).map(({ reading }) => reading);
    if (others.length > 0) {
      file.passOver(Math.max(...others));
      place.say(
        `Left out, because where they were aimed is not known: ${others.length} readings on the board (${others.join(', ')}). They stay there; “save” fetches them.`,
      );
    }
  }

  async #untilThere(board: Board): Promise<void> {
    const { file, place, options } = this;
    while (file.count < this.#target) {
      if (this.#stopped) throw this.#stopped;
      if (this.#lost) throw this.#lost;
      if (place.signal.aborted) throw new LeftInOrder('Stopped.');
      this.#show(file.openPlaces()[0]!);
      if (options.capture && this.#pressed) await this.#capture(board);
      else if (options.capture && this.#inputEnded) throw new LeftInOrder('Stopped.');
      else await new Promise<void>((resolve) => (this.#wake = resolve));
    }
    if (this.#stopped) throw this.#stopped;
  }

  async #capture(board: Board): Promise<void> {
    try {
      await board.capture(this.place.signal);
    } catch (error) {
      if (isRefusal(error, 'memory_full'))
        throw new LeftInOrder(`${messageOf(error)} ${MAKE_ROOM}`);
      const again = PASSING.some((code) => isRefusal(error, code));
      const isLost = error instanceof ProtocolError && error.cause === 'reading_lost';
      if (!again && !isLost) throw error;
      this.place.say(messageOf(error));
      this.#shown = undefined;
    } finally {
      this.#pressed = false; // what was pressed meanwhile was meant for this reading
    }
  }

  /** A reading came, by request or by the board's trigger. */
  #landed(reading: BoardReading): void {
    const slot = this.file.openPlaces()[0];
    if (this.#stopped || this.file.holds(reading)) return;
    if (!slot || this.file.count >= this.#target) {
      this.place.say(`Reading ${reading.reading} is not needed; it stays on the board.`);
      this.#guarded(() => this.file.passOver(reading.reading));
      return;
    }
    this.#guarded(() => this.#store(reading, slot, 'stored'));
    this.#wake();
  }

  /** Writes to the file where nobody waits for it; what goes wrong ends the work. */
  #guarded(write: () => void): void {
    try {
      write();
    } catch (error) {
      if (!(error instanceof Stopped)) throw error;
      this.#stopped = error;
    }
  }

  #store(reading: BoardReading, slot: Slot, how: string): void {
    this.file.add(reading, slot);
    const bell = process.stdout.isTTY ? '\x07' : '';
    this.place.say(
      `${bell}Reading ${reading.reading} ${how}: ${this.file.count} of ${this.#target}.`,
    );
  }

  #show(slot: Slot): void {
    const { sighting, roll } = slot;
    const shown = this.#shown;
    if (shown?.sighting.sighting === sighting.sighting && shown.roll === roll) return;
    this.#shown = slot;
    const azimuth = this.options.anyNorth ? 'azimuth (from your line)' : 'azimuth';
    const how = this.options.capture ? 'press Enter' : 'press the board’s trigger';
    this.place.say(
      `Aim: ${azimuth} ${short(sighting.azimuth)}, inclination ${short(sighting.inclination)}, roll ${short(roll)} (sighting ${sighting.sighting}: ${lineWords(sighting)}; ${rollWords(roll)}). Hold still and ${how}.`,
    );
  }

  #done({ identity }: Board): Outcome {
    const { accMounting, magMounting } = identity;
    const mounting =
      accMounting && magMounting ? ` --mounting acc=${accMounting},mag=${magMounting}` : '';
    const { file } = this;
    const rest = this.#whole - file.count;
    return {
      code: 0,
      out: [
        `${file.count} readings of board ${identity.serial} are in ${file.path}.`,
        ...(rest > 0
          ? [`The plan has ${rest} more; the same command without --readings goes on.`]
          : []),
        `Next: npm run -s cli -- fit ${file.path} --out COEFFICIENTS.json${mounting}`,
        '',
      ].join('\n'),
    };
  }

  #unfinished(why: string): Outcome {
    const { count, path } = this.file;
    const safe =
      count === 0
        ? 'No reading was stored.'
        : `${count} of ${this.#target} readings are stored in ${path}.`;
    return failed(`${why}\n${safe} Run the same command again to go on.`);
  }
}

const MAKE_ROOM = 'To do both: npm run -s cli -- save PORT --out FILE.json --make-room';

const messageOf = (error: unknown): string =>
  error instanceof Error ? error.message : String(error);

/** Whether another try over a new link may go better. */
const isOfTheLink = ({ cause }: ProtocolError): boolean =>
  ['link_closed', 'link_refused', 'no_answer', 'board_restarted'].includes(cause);

/** Collecting ends before all is there, and no reading is under way. */
class LeftInOrder extends Error {
  override readonly name = 'LeftInOrder';
}

/** Two decimals at most. */
const short = (degrees: number): string => String(Number(degrees.toFixed(2)));
