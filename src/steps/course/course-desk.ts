import { degrees } from '../../calib/geometry.ts';
import { coefficientsFrom } from '../../calib/model.ts';
import type { BoardReading } from '../../protocol/board.ts';
import {
  instrumentKey,
  instrumentName,
  type CourseInstrument,
  type CourseLayout,
  type CourseNote,
  type CourseShot,
  type CourseTerms,
} from '../../records/course-notes.ts';
import { passedOverWords, readShots, writeShots, type FileShot } from '../../records/course-csv.ts';
import { isSameData, LogbookError } from '../../records/logbook.ts';
import { randomId, timeAfter, type Note, type PaperInShort } from '../../records/papers.ts';
import type { Bench } from '../bench.ts';
import { BenchError, messageOf } from '../bench-words.ts';
import { without } from '../copy-without.ts';
import { fileName, type FileOut } from '../file-out.ts';
import type { BenchPlace } from '../place.ts';
import type { Told } from '../place-state.ts';
import { fieldThere } from '../site/expected-field.ts';
import { dayOf } from '../time-words.ts';
import { CourseFault } from './course-fault.ts';
import {
  countedShots,
  courseOf,
  instrumentsOf,
  type CourseState,
  type OutingState,
  type ReadNote,
  type ShotState,
} from './course-state.ts';
import {
  anglesThrough,
  hasReading,
  readingsForCourse,
  type MemoryProposal,
} from './from-memory.ts';
import { unlike } from './matching.ts';
import { makeReady } from './made-ready.ts';
import { wantsDeclination, settle, type Declination } from './settling.ts';
import { legBetween, openPlaces, type ShotPlace } from './shot-places.ts';
import { heldFor } from './simulated-course.ts';

/** What the check course part of the page shows: replaced whole at every change, never changed in place. */
export interface CourseDeskState {
  /** A line for each course; absent until they were read. */
  courses?: readonly PaperInShort[];
  /** The course whose page is open; `course` is absent until it was read, or where its notes are of no course. */
  opened?: { paper: string; isRead: boolean; course?: CourseState };
  /** Which instrument shoots now. */
  shooter?: CourseInstrument;
  /** Where it shoots next, where a person chose another place than the next that is open. */
  chosenPlace?: ShotPlace;
  /** What is being done that takes a while. */
  work?: string;
  /** What was done last. */
  said: string;
  /** What went wrong last, what is safe, and what to do. */
  trouble?: string;
}

type BenchOfCourse = Pick<
  Bench,
  'papers' | 'places' | 'entriesOf' | 'site' | 'logbook' | 'link' | 'exchange'
>;

/**
 * Check courses as a person works on them: the list of all, and one of them. What is done is written to the logbook
 * before it shows; what goes wrong is shown and changes nothing.
 */
export class CourseDesk {
  readonly #bench: BenchOfCourse;
  readonly #listeners = new Set<() => void>();
  #state: CourseDeskState = { said: '' };
  #notes: readonly Note[] = [];
  /** One change after the other. */
  #turn: Promise<void> = Promise.resolve();
  /** A person asked to stop. */
  #isStopped = false;
  /** Who gives its readings to the course now. */
  #giving: BenchPlace | undefined;

  constructor(bench: BenchOfCourse) {
    this.#bench = bench;
    bench.papers.subscribe(({ papers }) => {
      const { opened } = this.#state;
      if (papers.length > 0 && this.#listeners.size > 0) {
        void this.#read(opened?.paper);
      }
    });
  }

  get state(): CourseDeskState {
    return this.#state;
  }

  /** Calls `listener` after every change of state, until the returned function is called. */
  subscribe(listener: () => void): () => void {
    this.#listeners.add(listener);
    return () => this.#listeners.delete(listener);
  }

  /** The course that is open. */
  get course(): CourseState | undefined {
    return this.#state.opened?.course;
  }

  /** The outing that shots are added to: the newest. */
  get outing(): OutingState | undefined {
    return this.course?.outings.at(-1);
  }

  /** The day it is, ISO 8601. */
  get today(): string {
    return dayOf(this.#bench.logbook.now());
  }

  /** Every board that is linked and runs coefficients, and so can shoot. */
  get boards(): readonly BenchPlace[] {
    return this.#bench.places.filter(
      ({ state }) => state.link.state === 'linked' && state.history.inForce !== undefined,
    );
  }

  /** The place of the instrument that shoots now, where it is a linked board. */
  get shootingPlace(): BenchPlace | undefined {
    const { shooter } = this.#state;
    if (!shooter || !('board' in shooter)) return undefined;
    return this.boards.find(({ serial }) => serial === shooter.board);
  }

  /** Where the instrument that shoots now is to shoot next; undefined where all its places are shot. */
  get nextPlace(): ShotPlace | undefined {
    const { shooter } = this.#state;
    return shooter && this.#nextOf(shooter);
  }

  #nextOf(instrument: CourseInstrument): ShotPlace | undefined {
    const { shooter, chosenPlace } = this.#state;
    const { course, outing } = this;
    if (!course || !outing) return undefined;
    const isShooter = shooter && instrumentKey(shooter) === instrumentKey(instrument);
    return (isShooter && chosenPlace) || openPlaces(course.layout, outing.shots, instrument)[0];
  }

  /** What an instrument is called. */
  nameOf(instrument: CourseInstrument): string {
    if ('name' in instrument) return instrument.name;
    const name =
      this.#bench.logbook.lineOf(instrument.board)?.name ??
      this.#bench.places.find(({ serial }) => serial === instrument.board)?.state.history.identity
        ?.name;
    return name ? `${name} (${instrument.board})` : instrument.board;
  }

  /** The instrument that a person means by a name: a board where the logbook knows one of that serial number. */
  instrumentCalled(name: string): CourseInstrument {
    const isBoard =
      this.#bench.logbook.lineOf(name) !== undefined ||
      this.#bench.places.some(({ serial }) => serial === name);
    return isBoard ? { board: name } : { name };
  }

  /** Where the bench stands; undefined where that is not known. What goes wrong is shown. */
  async placeOfBench(): Promise<CourseLayout['place']> {
    await this.#does(async () => {
      await this.#bench.site.read();
      return '';
    });
    return this.#bench.site.kept.place;
  }

  /** Opens the page of a course, or, without its id, the list of all. Resolves when it was read. */
  async open(paper?: string): Promise<void> {
    const { courses, said } = this.#state;
    if (paper !== this.#state.opened?.paper) {
      await this.#choose(undefined);
      this.#notes = [];
      this.#change({
        ...(courses && { courses }),
        ...(paper !== undefined && { opened: { paper, isRead: false } }),
        said: paper === undefined ? '' : said,
      });
    }
    await this.#read(paper);
  }

  /** Lays out a new course. @returns its id; undefined where that could not be written, which is shown */
  async layOut(layout: CourseLayout, terms?: CourseTerms): Promise<string | undefined> {
    const paper = randomId();
    const done = await this.#does(async () => {
      const laidOut = this.#note(paper, { kind: 'course laid out', ...layout }, []);
      const said = terms && this.#note(paper, { kind: 'course terms', ...terms }, [laidOut]);
      await this.#bench.papers.write(laidOut, ...(said ? [said] : []));
      return 'The course is laid out.';
    });
    return done ? paper : undefined;
  }

  /** The open course is laid out so from now on. */
  async layOutAnew(layout: CourseLayout): Promise<void> {
    await this.#write('The course is changed.', () => [{ kind: 'course laid out', ...layout }]);
  }

  async setTerms(terms: CourseTerms): Promise<void> {
    await this.#write('Kept: settle again to see what it comes to by this.', () => [
      { kind: 'course terms', ...terms },
    ]);
  }

  async beginOuting(day = this.today): Promise<void> {
    await this.#write('A new outing is begun.', () => [
      { kind: 'outing begun', outing: randomId(), day },
    ]);
  }

  /** This instrument shoots from now on; readings of a linked board come to the course. None without one. */
  async choose(instrument?: CourseInstrument): Promise<void> {
    await this.#choose(instrument);
  }

  /** The next shot is of this place. */
  choosePlace(place: ShotPlace): void {
    this.#change({ ...this.#state, chosenPlace: place });
  }

  /** The board that shoots takes the next shot, or, where a simulated hand aims, all that are left of it. */
  async shoot(which: 'next' | 'rest'): Promise<void> {
    const place = this.shootingPlace;
    if (place) await this.#shoot(place, which === 'next' ? 1 : Infinity);
  }

  /** Every linked simulated board shoots all that is left of it, all at once. */
  async shootAll(): Promise<void> {
    const simulated = this.boards.filter(({ state }) => state.link.kind === 'simulated');
    await this.#choose(undefined);
    await Promise.all(
      simulated.map(async (place) => {
        await this.#give(place);
        await this.#shoot(place, Infinity);
        await place.giveReadings();
      }),
    );
  }

  /** The first linked board that has not shot the whole course shoots from now on. */
  async chooseNext(): Promise<void> {
    const { course, outing } = this;
    if (!course || !outing) return;
    const next = this.boards.find(
      ({ serial }) => openPlaces(course.layout, outing.shots, { board: serial! }).length > 0,
    );
    if (next) await this.#choose({ board: next.serial! });
  }

  /** Stops what is being done after the shot, or the step, that is under way. */
  async stop(): Promise<void> {
    this.#isStopped = true;
    for (const place of this.#bench.places) if (place.isAtWork) await place.perform('stop');
  }

  /** Links simulated boards until there are so many that run coefficients, each calibrated by its own hand. */
  async makeReady(count: number): Promise<void> {
    this.#isStopped = false;
    await this.#does(async () => {
      const show = (work: string) => {
        if (this.#isStopped)
          throw new CourseFault('Stopped. The boards that are calibrated stay so.');
        this.#change({ ...this.#state, work });
      };
      await makeReady(this.#bench, count, show);
      return `${count} simulated boards are calibrated and linked.`;
    });
  }

  /**
   * A shot that a person read off an instrument, or types from a notebook. When it is typed says nothing of when it was
   * shot: `taken` (ISO 8601, in UTC) is left out unless a person says so.
   */
  async addByHand(shot: {
    instrument: CourseInstrument;
    place: ShotPlace;
    azimuth?: number;
    inclination?: number;
    taken?: string;
  }): Promise<void> {
    const { instrument, place, azimuth, inclination, taken } = shot;
    await this.#write('The shot is written down.', () => [
      {
        kind: 'shot',
        outing: this.#open().outing.id,
        leg: place.leg,
        way: place.way,
        instrument,
        ...(azimuth !== undefined && { azimuth }),
        ...(inclination !== undefined && { inclination }),
        ...(taken !== undefined && { taken }),
        source: { from: 'hand' },
      },
    ]);
    const { chosenPlace: _, ...state } = this.#state;
    this.#change(state);
  }

  /**
   * Shots from a file, all or none. Those that came from it before are passed over. Of another file, whose values alone
   * are those of shots that are here, nobody can tell: such shots are added, and that is said.
   */
  async addFromFile(name: string, bytes: Uint8Array): Promise<void> {
    await this.#does(async () => {
      const read = readShots(bytes);
      if (!read.ok) throw new CourseFault(`${name}: ${read.message}`);
      const { course, outing } = this.#open();
      const bodies = read.shots.map((shot) => this.#shotOf(shot, name, course, outing));
      const { fresh, alike } = freshOf(bodies, outing.shots);
      const notes: Note[] = [];
      for (const { shot, setAside } of fresh) {
        const note = this.#note(this.#paper, { kind: 'shot', ...shot }, notes);
        notes.push(note);
        if (setAside !== undefined) {
          notes.push(
            this.#note(
              this.#paper,
              { kind: 'shot set aside', shot: note.id, reason: setAside },
              notes,
            ),
          );
        }
      }
      if (notes.length > 0) await this.#bench.papers.write(...notes);
      await this.#read(this.#paper);
      const passed = bodies.length - fresh.length;
      return addedWords(fresh.length, passed, alike, read.passedOver);
    });
  }

  /**
   * What the readings in a board's memory may have been, as far as the logbook has them and the course does not.
   *
   * @returns undefined where the logbook cannot be read, which is shown
   */
  async proposeFromMemory(
    board: string,
    by: 'order' | 'nearness',
    first?: number,
  ): Promise<readonly MemoryProposal[] | undefined> {
    let proposals: readonly MemoryProposal[] | undefined;
    await this.#does(async () => {
      const { course, outing } = this.#open();
      const entries = await this.#bench.entriesOf(board);
      proposals = readingsForCourse(entries, board, course, outing, by, first);
      return proposals.length === 0
        ? 'The logbook has no reading of this board’s memory that the course does not have. Link the board, so that its memory is saved.'
        : '';
    });
    return proposals;
  }

  /** Adds what was proposed and kept, each at the place that was chosen for it. */
  async addFromMemory(
    board: string,
    chosen: readonly { proposal: MemoryProposal; place: ShotPlace }[],
  ): Promise<void> {
    const said = chosen.length === 1 ? 'One shot was added.' : `${chosen.length} shots were added.`;
    await this.#write(said, () => {
      const { outing } = this.#open();
      return chosen.map(
        ({ proposal: { reading, azimuth, inclination, generation, crc }, place }) => ({
          kind: 'shot',
          outing: outing.id,
          leg: place.leg,
          way: place.way,
          instrument: { board },
          ...(azimuth !== undefined && { azimuth }),
          ...(inclination !== undefined && { inclination }),
          source: { from: 'memory', reading, generation, crc },
        }),
      );
    });
  }

  async setAside(shot: string, reason: string): Promise<void> {
    await this.#write('The shot is set aside.', () => [{ kind: 'shot set aside', shot, reason }]);
  }

  async takeBack(shot: string): Promise<void> {
    await this.#write('The shot counts again.', () => [{ kind: 'shot taken back', shot }]);
  }

  /** Works out what the shots of the outing say, and writes that down with all that went in. */
  async settle(): Promise<void> {
    await this.#bench.site.read().catch((error: unknown) => {
      if (!(error instanceof LogbookError)) throw error; // the declination is missing then, and that is said
    });
    await this.#write('The course is settled.', () => {
      const { course, outing } = this.#open();
      const { layout, terms } = course;
      const shots = countedShots(outing);
      const declination = this.#declination(layout, outing);
      const settled = settle(layout, terms, shots, declination, (each) => this.nameOf(each));
      if (!settled.ok) throw new CourseFault(settled.message);
      return [
        {
          kind: 'outing settled',
          outing: outing.id,
          shots: shots.map(({ id }) => id),
          layout,
          terms,
          ...(declination && { declination }),
          result: settled.result,
        },
      ];
    });
  }

  /** The whole course as a logbook file, with the boards that shot it; undefined where it could not be had, which is shown. */
  async takeOut(): Promise<FileOut<Blob> | undefined> {
    const boards = (this.course?.outings ?? []).flatMap((outing) =>
      instrumentsOf(outing).flatMap((each) => ('board' in each ? [each.board] : [])),
    );
    return this.#bench.exchange.takeOutPaper(this.#paper, boards);
  }

  /** The shots of an outing as a file. */
  shotsFile(outing: OutingState): FileOut | undefined {
    const { course } = this;
    if (!course) return undefined;
    const rows = outing.shots.map(
      ({ instrument, leg, way, azimuth, inclination, taken, setAside }) => ({
        instrument: instrumentName(instrument),
        from: way === 'fore' ? leg.from : leg.to,
        to: way === 'fore' ? leg.to : leg.from,
        ...(azimuth !== undefined && { azimuth }),
        ...(inclination !== undefined && { inclination }),
        ...(taken !== undefined && { taken }),
        ...(setAside !== undefined && { setAside }),
      }),
    );
    return {
      name: fileName(['shots', course.layout.name, outing.day], 'csv'),
      content: writeShots(rows),
      type: 'text/csv',
    };
  }

  // Shooting

  async #choose(instrument: CourseInstrument | undefined): Promise<void> {
    const { shooter: _, chosenPlace: __, ...state } = this.#state;
    this.#change({ ...state, ...(instrument && { shooter: instrument }) });
    const place = this.shootingPlace;
    if (place === this.#giving) return;
    const before = this.#giving;
    this.#giving = place;
    await before?.giveReadings();
    if (place) await this.#give(place);
  }

  #give(place: BenchPlace): Promise<void> {
    return place.giveReadings((reading) => this.#take(place, reading));
  }

  /** On a made-up course the second of the linked boards is the one whose sight is bent. */
  #isBent = (place: BenchPlace): boolean => this.boards.indexOf(place) === 1;

  async #shoot(place: BenchPlace, most: number): Promise<void> {
    const { course, outing } = this;
    const instrument = { board: place.serial! };
    if (!course || !outing) return;
    const left = openPlaces(course.layout, outing.shots, instrument).length;
    const aim = () => {
      const next = this.#nextOf(instrument);
      return next && heldFor(course.layout, next, this.#isBent(place)).aim;
    };
    const count = Math.min(most, Math.max(left, this.#state.chosenPlace ? 1 : 0));
    const { trouble: _, ...state } = this.#state;
    this.#change({ ...state, work: 'Shooting the course' });
    await place.takeReadings('Shooting the check course', aim, count);
    const { work: __, ...after } = this.#state;
    const { trouble } = place.state;
    this.#change({
      ...(this.boards.some(({ isAtWork }) => isAtWork) ? this.#state : after),
      ...(trouble && { trouble: `${trouble.heading}. ${trouble.message}` }),
    });
  }

  /** A reading of the board that shoots: a shot of the next place. */
  async #take(place: BenchPlace, reading: BoardReading): Promise<Told> {
    const { course, outing } = this;
    const { inForce } = place.state.history;
    const board = place.serial!;
    const next = this.#nextOf({ board });
    const refused = (words: string): Told => ({
      kind: 'refused',
      words: `${words} It stays on the board.`,
    });
    if (!course || !outing || !inForce)
      return refused('There is no outing that this reading could be for.');
    if (hasReading(outing, board, reading))
      return { kind: 'taken', words: 'That shot is in already.' };
    if (!next) return refused('All places of the course are shot with this board.');
    const coefficients = coefficientsFrom(inForce.model, inForce.values);
    const angles = coefficients && anglesThrough(coefficients, reading);
    if (!angles)
      return refused('The reading shows no direction: straight up or down has no azimuth.');
    const isHeld = place.state.link.kind === 'simulated' && place.state.ownHand === undefined;
    const turned = isHeld ? heldFor(course.layout, next, this.#isBent(place)).turned : 0;
    const doubt = unlike(angles, next, outing.shots, course.layout);
    const { leg, way, at, aimed } = next;
    await this.#append([
      {
        kind: 'shot',
        outing: outing.id,
        leg,
        way,
        instrument: { board },
        ...angles,
        taken: this.#bench.logbook.now().toISOString(),
        source: {
          from: 'link',
          reading,
          generation: inForce.generation,
          crc: inForce.crc,
          ...(turned !== 0 && { turned }),
        },
      },
    ]);
    const { chosenPlace, ...state } = this.#state;
    const words = `${this.nameOf({ board })}, ${at} to ${aimed}: taken.`;
    const said = doubt ? `${words} ${doubt}` : words;
    this.#change({ ...state, ...(chosenPlace && chosenPlace !== next && { chosenPlace }), said });
    if (doubt) return { kind: 'doubted', words: doubt };
    return this.#nextOf({ board })
      ? { kind: 'taken', words }
      : { kind: 'done', words: 'All shots are in.' };
  }

  // Beneath

  get #paper(): string {
    const { opened } = this.#state;
    if (!opened) throw new CourseFault('No course is open.');
    return opened.paper;
  }

  #open(): { course: CourseState; outing: OutingState } {
    const { course, outing } = this;
    if (!course) throw new CourseFault('No course is open.');
    if (!outing) throw new CourseFault('No outing is begun yet. Begin one, then add shots.');
    return { course, outing };
  }

  #shotOf(
    { line, instrument, from, to, azimuth, inclination, taken, setAside }: FileShot,
    file: string,
    { layout }: CourseState,
    outing: OutingState,
  ): { shot: CourseShot; setAside?: string } {
    const place = legBetween(layout, from, to);
    if (!place) {
      throw new CourseFault(
        `${file}: line ${line}, field to: this course has no leg between “${from}” and “${to}”. Nothing was changed. Correct the names, or add the leg to the course.`,
      );
    }
    return {
      shot: {
        outing: outing.id,
        leg: place.leg,
        way: place.way,
        instrument: this.instrumentCalled(instrument),
        ...(azimuth !== undefined && { azimuth }),
        ...(inclination !== undefined && { inclination }),
        ...(taken !== undefined && { taken }),
        source: { from: 'file', file, line },
      },
      ...(setAside !== undefined && { setAside }),
    };
  }

  /**
   * Of the day of an outing: wanted for bearings that do not count from magnetic north, and to compare years. Undefined
   * where the place is not known.
   */
  #declination(layout: CourseLayout, { day }: OutingState): Declination | undefined {
    const { kept } = this.#bench.site;
    const place = layout.place ?? (wantsDeclination(layout) ? kept.place : undefined);
    if (!place) return undefined;
    const field = fieldThere(kept, place, new Date(`${day}T12:00:00Z`));
    return {
      degrees: degrees(field.declination),
      sigma: degrees(field.standardErrors.declination),
      model: field.model,
    };
  }

  #note(paper: string, body: CourseNote, before: readonly Note[]): Note {
    const time = timeAfter([...this.#notes, ...before], this.#bench.logbook.now());
    return { id: randomId(), paper, of: 'course', time, body };
  }

  /** Writes notes of the open course, and shows what it is then; what goes wrong is shown. */
  async #write(said: string, bodies: () => readonly CourseNote[]): Promise<void> {
    await this.#does(async () => {
      await this.#append(bodies());
      return said;
    });
  }

  async #append(bodies: readonly CourseNote[]): Promise<void> {
    const notes: Note[] = [];
    for (const body of bodies) notes.push(this.#note(this.#paper, body, notes));
    await this.#bench.papers.write(...notes);
    await this.#read(this.#paper);
  }

  /** Does one thing after the other. @returns whether it was done; what went wrong is shown */
  #does(task: () => Promise<string>): Promise<boolean> {
    const done = this.#turn.then(async () => {
      this.#change(without(this.#state, 'trouble'));
      try {
        const said = await task();
        this.#change({ ...this.#state, said });
        return true;
      } catch (error) {
        if (!isExpected(error)) throw error;
        this.#change({ ...this.#state, said: '', trouble: messageOf(error) });
        return false;
      } finally {
        this.#change(without(this.#state, 'work'));
      }
    });
    this.#turn = done.then(
      () => {},
      () => {}, // told to whoever asked; the next is done all the same
    );
    return done;
  }

  async #read(paper: string | undefined): Promise<void> {
    try {
      const [courses, notes] = await Promise.all([
        this.#bench.papers.papers('course'),
        paper === undefined ? [] : this.#bench.papers.notesOf(paper),
      ]);
      if (paper !== this.#state.opened?.paper) return; // another was opened meanwhile
      this.#notes = notes;
      // only notes that were written here or have passed the schema are in the logbook
      const course = courseOf(notes as readonly ReadNote[]);
      this.#change({
        ...this.#state,
        courses,
        ...(paper !== undefined && { opened: { paper, isRead: true, ...(course && { course }) } }),
      });
    } catch (error) {
      if (!(error instanceof LogbookError)) throw error;
      this.#change({ ...this.#state, trouble: error.message });
    }
  }

  #change(state: CourseDeskState): void {
    this.#state = state;
    for (const listener of this.#listeners) listener();
  }
}

const isExpected = (error: unknown): boolean =>
  error instanceof CourseFault || error instanceof LogbookError || error instanceof BenchError;

/**
 * The shots of a file that are not here yet; each shot here stands for one of them. Surely here is one that a file of this
 * name gave, or that was shot at the same moment. Where all others too are as shots that are here, it is a file that was
 * taken in under another name, or taken out of this course.
 *
 * @returns also how many of the fresh ones are as shots that are here
 */
function freshOf<Row extends { shot: CourseShot }>(
  rows: readonly Row[],
  shots: readonly ShotState[],
): { fresh: readonly Row[]; alike: number } {
  const left = [...shots];
  const notAmong = (
    some: readonly Row[],
    isSurely: (there: CourseShot, shot: CourseShot) => boolean,
  ) =>
    some.filter(({ shot }) => {
      const at = left.findIndex((there) => isAlike(there, shot) && isSurely(there, shot));
      if (at >= 0) left.splice(at, 1);
      return at < 0;
    });
  const unsure = notAmong(
    rows,
    (there, { source, taken }) => taken !== undefined || fileOf(there.source) === fileOf(source),
  );
  const others = notAmong(unsure, () => true);
  return others.length === 0
    ? { fresh: [], alike: 0 }
    : { fresh: unsure, alike: unsure.length - others.length };
}

const fileOf = (source: CourseShot['source']): string | undefined =>
  source.from === 'file' ? source.file : undefined;

/** The same values, of the same place, by the same instrument, at the same time where one is known. */
const isAlike = (a: CourseShot, b: CourseShot): boolean => isSameData(shownBy(a), shownBy(b));

const shownBy = ({ leg, way, instrument, azimuth, inclination, taken }: CourseShot) => ({
  ...{ leg, way, instrument, azimuth, inclination, taken },
});

/** What came of bringing a file in. */
function addedWords(
  added: number,
  passed: number,
  alike: number,
  columns: readonly string[],
): string {
  return [
    `${added === 1 ? 'One shot was' : `${added} shots were`} added.`,
    ...(passed === 0
      ? []
      : [
          `${passed} ${passed === 1 ? 'was' : 'were'} here already.`,
          ...(added === 0
            ? ['If they were shot anew, give them their times, so that they can be told apart.']
            : []),
        ]),
    ...(alike === 0
      ? []
      : [
          `${alike === 1 ? 'One of them shows' : `${alike} of them show`} just what shots that were here already do: set aside those that are the same.`,
        ]),
    ...(columns.length === 0 ? [] : [passedOverWords(columns)]),
  ].join(' ');
}

/** The desk of a bench: who comes back to the courses finds what is being done there. */
export function courseDeskOf(bench: Bench): CourseDesk {
  const there = desks.get(bench) ?? new CourseDesk(bench);
  desks.set(bench, there);
  return there;
}

const desks = new WeakMap<Bench, CourseDesk>();
