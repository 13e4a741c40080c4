import { existsSync } from 'node:fs';
import type { BoardIdentity, BoardReading } from '../protocol/board.ts';
import { readReadings, writeReadings, type FileReading } from '../records/readings-csv.ts';
import type { Plan } from '../records/entries.ts';
import type { Slot } from '../steps/calibration-state.ts';
import { Stopped } from './board-link.ts';
import { canReplace, readBytes, replaceFile } from './files.ts';

/** The file into which readings are collected: a readings file that also says from which board, and how far. */

const MARK = /^ collected_from=(\S+) collected_after=(0|[1-9]\d*)( collecting)?$/;

export class CollectedFile {
  /** Absent until a board was linked. */
  #from: { serial: string; scales: { acc: number; mag: number } } | undefined;
  /** The newest number that the board is known to have given. */
  #after = 0;
  #readings: readonly FileReading[] = [];
  /** Whether a reading that the board gave after the last in the file was meant for the next place of the plan. */
  #collecting = false;

  private constructor(
    readonly path: string,
    private readonly plan: Plan,
  ) {}

  /**
   * Takes up a file that was begun, or a name for a new one.
   *
   * @throws Stopped where the file was not begun by collecting, or cannot be read or written
   */
  static at(path: string, plan: Plan): CollectedFile {
    const file = new CollectedFile(path, plan);
    if (existsSync(path)) file.#takeUp();
    const writable = canReplace(path);
    if (!writable.ok) {
      throw new Stopped(
        `${writable.message} Nothing was changed, and no reading was taken. Make a place for it, or give another name, and run the command again.`,
      );
    }
    return file;
  }

  #takeUp(): void {
    const { path } = this;
    const bytes = readBytes(path);
    if (!bytes.ok) throw new Stopped(bytes.message);
    const read = readReadings(bytes.bytes);
    if (!read.ok) throw new Stopped(`${path}: ${read.message}`);
    const marks = read.comments.flatMap((comment) => MARK.exec(comment) ?? []);
    const [, serial, after, collecting] = marks;
    if (serial === undefined || after === undefined || !read.scales) {
      throw new Stopped(
        `${path}: this file was not begun by “collect”, so nothing is added to it. Nothing was changed. Give another name.`,
      );
    }
    this.#from = { serial: decodeURIComponent(serial), scales: read.scales };
    this.#after = Number(after);
    this.#collecting = collecting !== undefined;
    this.#readings = read.readings;
  }

  get count(): number {
    return this.#readings.length;
  }

  get after(): number {
    return this.#after;
  }

  /** Whether it holds readings from before. */
  get isBegun(): boolean {
    return this.#from !== undefined;
  }

  /**
   * The board whose readings follow.
   *
   * @param last the newest number in its memory
   * @throws Stopped where the file's readings are another board's
   */
  from({ serial, accScale, magScale }: BoardIdentity, last: number): void {
    if (!this.#from) {
      this.#from = { serial, scales: { acc: accScale, mag: magScale } };
      this.#after = last;
      return;
    }
    if (this.#from.serial !== serial) {
      throw new Stopped(
        `${this.path} holds readings of board ${this.#from.serial}, and board ${serial} is linked. Nothing was changed. Link that board, or give another name for the readings of this one.`,
      );
    }
  }

  /** Places of the plan without a reading, in order. */
  openPlaces(): Slot[] {
    return this.plan.sightings
      .flatMap((sighting) => sighting.rolls.map((roll) => ({ sighting, roll })))
      .filter(
        ({ sighting, roll }) =>
          !this.#readings.some(
            (row) => row.sighting === sighting.sighting && row.aim?.roll === roll,
          ),
      );
  }

  /** Whether this very reading is in it: the same number with the same counts. */
  holds({ reading, acc, mag }: BoardReading): boolean {
    return this.#readings.some(
      (row) =>
        (row.id === String(reading) || row.id.startsWith(`${reading} `)) &&
        [...acc, ...mag].every((count, i) => count === [...row.acc, ...row.mag][i]),
    );
  }

  /** Whether collecting was under way when the file was last written. */
  get isCollecting(): boolean {
    return this.#collecting;
  }

  /**
   * The board has given numbers up to this one, which are in the file or will never be.
   *
   * @throws Stopped
   */
  passOver(number: number): void {
    this.#write(this.#readings, Math.max(this.#after, number), this.#collecting);
  }

  /**
   * Collecting begins, or ends: what the board gives meanwhile has a place in the plan, and what it gives at other times
   * has none.
   *
   * @throws Stopped
   */
  collecting(under: boolean): void {
    this.#write(this.#readings, this.#after, under);
  }

  /**
   * Adds a reading taken at a place of the plan; it is on disk when this returns.
   *
   * @throws Stopped where it could not be written; the reading is not in the file then
   */
  add(reading: BoardReading, { sighting, roll }: Slot): void {
    const { inclination, azimuth } = sighting;
    const row: FileReading = {
      id: this.#freeId(reading.reading),
      sighting: sighting.sighting,
      acc: reading.acc,
      mag: reading.mag,
      ...(reading.temperature !== undefined && { temperature: reading.temperature }),
      aim: {
        ...(this.plan.azimuths === 'absolute' && { azimuth }),
        inclination,
        roll,
      },
      others: [],
    };
    const after = Math.max(this.#after, reading.reading);
    this.#write([...this.#readings, row], after, true, reading.reading);
  }

  /**
   * A file without readings is none: until there is one, nothing is written.
   *
   * @param added the number of the reading that is added, where one is
   */
  #write(
    readings: readonly FileReading[],
    after: number,
    collecting: boolean,
    added?: number,
  ): void {
    const { serial, scales } = this.#from!;
    const mark = ` collected_from=${encodeURIComponent(serial)} collected_after=${after}${collecting ? ' collecting' : ''}`;
    if (readings.length > 0) {
      const text = writeReadings({ scales, comments: [mark], otherColumns: [], readings });
      const written = replaceFile(this.path, text);
      if (!written.ok) {
        const left = added === undefined ? '' : ` Reading ${added} is not in it, but still on the board.`; // prettier-ignore
        const cure = written.isFull ? 'Make room' : 'See that it can be written';
        throw new Stopped(`${written.message}${left} ${cure}, then run the same command again.`);
      }
    }
    this.#readings = readings;
    this.#after = after;
    this.#collecting = collecting;
  }

  /** A number that a repaired board gives a second time gets a mark. */
  #freeId(number: number): string {
    const borne = new Set(this.#readings.map(({ id }) => id));
    let id = String(number);
    for (let time = 1; borne.has(id); time++) id = `${number} again${time === 1 ? '' : ` ${time}`}`;
    return id;
  }
}
