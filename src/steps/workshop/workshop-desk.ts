import type { StoredEntry } from '../../records/entries.ts';
import { isSameData, LogbookError, writerOf } from '../../records/logbook.ts';
import type { Problem } from '../../records/logbook-file-reader.ts';
import { randomId, timeAfter, type Note, type PaperInShort } from '../../records/papers.ts';
import { workshopCsv, type KitLine } from '../../records/workshop-csv.ts';
import {
  KIT_FIELDS,
  type KitFields,
  type WorkshopNote,
  type WorkshopTerms,
} from '../../records/workshop-notes.ts';
import type { Bench } from '../bench.ts';
import { BenchError } from '../bench-words.ts';
import { foldHistory } from '../calibration-state.ts';
import { without } from '../copy-without.ts';
import { fileName, type FileOut } from '../file-out.ts';
import type { ExchangeTrouble } from '../logbook/exchange.ts';
import type { PlaceState } from '../place-state.ts';
import { faultsOf, pastedKits, trimmedKit } from './pasted-kits.ts';
import { kitRow, workshopNow } from './roster.ts';
import type { KitResult, KitRow, KnownBoard, SiteForAll, WorkshopNow } from './roster.ts';
import {
  foldWorkshop,
  lastSeen,
  type KitRecord,
  type WorkshopRecords,
} from './workshop-records.ts';

export type { KitRow, KitResult, KitStage, Whereabouts, WorkshopNow } from './roster.ts';
export { STAGES, type KitFields, type WorkshopTerms } from '../../records/workshop-notes.ts';

/** What the workshop part of the page shows: replaced whole at every change, never changed in place. */
export interface WorkshopState {
  /** A line for each workshop; absent until they were read. */
  workshops?: readonly PaperInShort[];
  /** The one whose page is open; `now` is absent until it was read, or where there is none of that id. */
  opened?: { paper: string; isRead: boolean; now?: WorkshopNow };
  /** Boards that are linked here and are no kit of the opened workshop. */
  strangers: readonly { serial: string; name: string }[];
  /** Site checks of boards linked here, the newest first: one of them can stand for all. */
  siteChecks: readonly SiteForAll[];
  /** What is being done that takes a while. */
  work?: string;
  /** What was done last. */
  said: string;
  /** What went wrong last. */
  trouble?: ExchangeTrouble;
}

/** What of the bench a workshop works with. */
export type BenchOfWorkshop = Pick<
  Bench,
  'papers' | 'places' | 'entriesOf' | 'exchange' | 'logbook' | 'elsewhere' | 'subscribe'
>;

/**
 * Workshops as a person works on them: the list of all, and one of them with its roster. What is done is written to the
 * logbook before it shows; what goes wrong is shown and changes nothing. A method rejects only by a fault of this program.
 */
export class WorkshopDesk {
  readonly #bench: BenchOfWorkshop;
  readonly #listeners = new Set<() => void>();
  #state: WorkshopState = { strangers: [], siteChecks: [], said: '' };
  #records: WorkshopRecords | undefined;
  /** What the logbook says of boards that are not linked, by serial number; those that were written of since are out. */
  readonly #logged = new Map<string, KnownBoard['logged']>();
  /** How often boards that are not linked were written of. */
  #heard = 0;
  /** The line of each kit with what it was made from: nothing is worked out again for a board that stands as it stood. */
  #rows = new Map<string, { from: readonly unknown[]; row: KitRow }>();
  /** The reading that is under way, and whether another must follow it. */
  #reading: Promise<void> | undefined;
  #again = false;
  /** One change after the other: each is made to what the one before it left. */
  #turn: Promise<unknown> = Promise.resolve();

  constructor(bench: BenchOfWorkshop) {
    this.#bench = bench;
    bench.subscribe(() => this.#look());
    bench.papers.subscribe(({ papers, boards }) => {
      for (const board of boards) this.#logged.delete(board);
      if (boards.some((board) => !this.#isLinked(board))) this.#heard++;
      if (papers.length > 0 && this.#listeners.size > 0) void this.#refresh();
      else this.#look();
    });
  }

  get state(): WorkshopState {
    return this.#state;
  }

  /** Calls `listener` after every change of state, until the returned function is called. */
  subscribe(listener: () => void): () => void {
    const isFirst = this.#listeners.size === 0;
    this.#listeners.add(listener);
    if (isFirst && this.#state.opened) void this.#refresh(); // nobody followed what was written meanwhile
    return () => this.#listeners.delete(listener);
  }

  /** Opens the page of a workshop, or, without an id, the list of all. Resolves when it was read. */
  async open(paper?: string): Promise<void> {
    // what was said and went wrong was told on the page before
    const { opened, trouble: _, ...state } = this.#state;
    const rest = { ...state, said: '' };
    if (paper === undefined) this.#change(rest);
    else if (opened?.paper === paper) this.#change({ ...rest, opened });
    else {
      this.#records = undefined;
      this.#rows.clear();
      this.#change({ ...rest, opened: { paper, isRead: false } });
    }
    await this.#refresh();
  }

  /** Opens a new workshop. @returns its id; undefined where it was not written */
  async begin(terms: WorkshopTerms): Promise<string | undefined> {
    const paper = randomId();
    const isWritten = await this.#write(paper, `Opened: ${terms.name.trim()}.`, () => [
      setOut(terms),
    ]);
    return isWritten ? paper : undefined;
  }

  /** The workshop is this from now on. @returns whether it was written, here and below */
  setTerms(terms: WorkshopTerms): Promise<boolean> {
    return this.#note('Changed.', () => [setOut(terms)]);
  }

  /** Adds kits, all or none. */
  addKits(given: readonly KitFields[]): Promise<boolean> {
    const kits = given.map(trimmedKit);
    const said = kits.length === 1 ? 'A kit was added.' : `${kits.length} kits were added.`;
    return this.#note(said, (records) => {
      this.#demand(faultsOf(kits, records.kits), 'No kit was added');
      return kits.map((kit) => ({ kind: 'kit added', kit: randomId(), ...kit }));
    });
  }

  /** Adds kits from lines `serial, builder, place`, all or none. */
  async addPasted(text: string): Promise<boolean> {
    const read = pastedKits(text);
    if (read.ok) return this.addKits(read.kits);
    this.#refuse(new Refused('No kit was added', read.problems));
    return false;
  }

  /** What is given of a kit is so from now on; an empty text takes it away. */
  changeKit(kit: string, to: KitFields): Promise<boolean> {
    return this.#note('Changed.', (records) => {
      const before = kitIn(records, kit);
      const changed = KIT_FIELDS.filter((field) => {
        const value = to[field]?.toWellFormed().trim();
        return value !== undefined && value !== before[field];
      });
      const pick = (from: KitFields) =>
        Object.fromEntries(
          changed.map((field) => [field, (from[field] ?? '').toWellFormed().trim()]),
        ) as KitFields;
      if (changed.length === 0) return [];
      const after = trimmedKit({ ...trimmedKit(before), ...pick(to) });
      const { kit: id, alias, serial } = before;
      // one that has its number already must be told apart some other way first
      const others = records.kits.filter(
        (each) => each.kit !== id && (each.serial !== serial || serial === ''),
      );
      this.#demand(faultsOf([after], others), 'The kit was not changed');
      // all that are this kit, so that they stay one
      const change = { from: pick(before), to: pick(to) };
      return [id, ...alias].map((each) => ({ kind: 'kit changed', kit: each, ...change }));
    });
  }

  /** The kit turned out to have this board, which may be on no other kit. */
  giveBoard(kit: string, serial: string): Promise<boolean> {
    return this.changeKit(kit, { serial });
  }

  /** Takes a kit off the roster; what was written of it and of its board stays. */
  takeOff(kit: string): Promise<boolean> {
    return this.#note('The kit was taken off the roster.', (records) => {
      const { kit: id, alias } = kitIn(records, kit);
      return [id, ...alias].map((each) => ({ kind: 'kit taken off', kit: each }));
    });
  }

  putBack(kit: string): Promise<boolean> {
    return this.#note('The kit is on the roster again.', (records) => {
      const before = kitIn(records, kit);
      this.#demand(faultsOf([trimmedKit(before)], records.kits), 'Not put back');
      return [before.kit, ...before.alias].map((each) => ({ kind: 'kit put back', kit: each }));
    });
  }

  /** @param kit absent where the whole workshop is meant */
  remark(text: string, kit?: string): Promise<boolean> {
    return this.#note('Noted.', (records) => {
      const written = text.toWellFormed().trim();
      if (written === '') this.#demand([{ path: 'the remark', what: 'it is empty' }], 'Not noted');
      if (written.length > LONGEST_REMARK) {
        const what = `it must have ${LONGEST_REMARK} characters at most`;
        this.#demand([{ path: 'the remark', what }], 'Not noted');
      }
      const of = kit === undefined ? {} : { kit: kitIn(records, kit).kit };
      return [{ kind: 'workshop remark', ...of, text: written }];
    });
  }

  /** The newest site check of that board, which is linked here, stands for all; undefined: none does any more. */
  checkSiteForAll(board: string | undefined): Promise<boolean> {
    if (board === undefined) {
      return this.#note('No site check stands for all.', () => [{ kind: 'site check taken back' }]);
    }
    return this.#note(`The site check of board ${board} stands for all.`, () => {
      const check = this.#state.siteChecks.find((each) => each.board === board);
      if (!check) {
        const what = 'it has checked no site, or is not linked here';
        this.#demand([{ path: `board ${board}`, what }], 'No site check was taken');
        return [];
      }
      return [{ kind: 'site checked for all', ...check }];
    });
  }

  /**
   * The workshop with all entries of its boards, as a logbook file for another computer. How its boards stand is noted
   * first, since what is wrong with a link is in no entry; where another page has the bench, that page may note it.
   */
  async takeOut(): Promise<FileOut<Blob> | undefined> {
    return this.#during('Taking out', async () => {
      await this.#refresh();
      const records = this.#records;
      const { now } = this.#state.opened ?? {};
      if (!records || !now) return undefined;
      const seen = seenNow(now, records, this.#bench.logbook.now(), this.#bench.papers.bench);
      if (seen.length > 0 && this.#bench.elsewhere === undefined) {
        await this.#append(records.paper, seen);
      }
      this.#demandIdle('Nothing was taken out');
      const file = await this.#bench.exchange.takeOutPaper(records.paper, serialsOf(records));
      this.#tellOfExchange();
      return file;
    });
  }

  /** Results of all kits as CSV. */
  takeOutResults(): FileOut<string> | undefined {
    const { now } = this.#state.opened ?? {};
    if (!now) return undefined;
    const name = fileName(['results', now.terms.name, now.terms.day], 'csv');
    return { name, content: workshopCsv(now.kits.map(kitLine)), type: 'text/csv' };
  }

  /** Brings in a file of another computer, workshops and boards with it. */
  async bringIn(file: Blob): Promise<void> {
    await this.#exchanging(() => this.#bench.exchange.bringIn(file));
  }

  /** Brings in what was refused because entries differ, and keeps both. */
  async bringInAllTheSame(): Promise<void> {
    await this.#exchanging(() => this.#bench.exchange.bringInAllTheSame());
  }

  async #exchanging(work: () => Promise<void>): Promise<void> {
    await this.#during('Bringing in', async () => {
      this.#demandIdle('Nothing was brought in');
      const following = this.#bench.exchange.subscribe(() => this.#tellOfExchange());
      try {
        await work();
      } finally {
        following();
      }
      this.#tellOfExchange();
      await this.#refresh();
    });
  }

  #tellOfExchange(): void {
    const { said, trouble, work } = this.#bench.exchange.state;
    const state = without(this.#state, 'trouble');
    this.#change({
      ...state,
      said,
      ...(trouble && { trouble }),
      ...(work !== undefined && { work }),
    });
  }

  /** Writes notes of the workshop that is open. */
  async #note(
    said: string,
    bodies: (records: WorkshopRecords) => WorkshopNote[],
  ): Promise<boolean> {
    const { paper } = this.#state.opened ?? {};
    if (paper === undefined) return false;
    return this.#write(paper, said, (records) => {
      if (!records) throw new Refused('Nothing was written', [GONE]);
      return bodies(records);
    });
  }

  /** @param bodies what is to be written, by what is there when it is its turn */
  async #write(
    paper: string,
    said: string,
    bodies: (records: WorkshopRecords | undefined) => WorkshopNote[],
  ): Promise<boolean> {
    const isWritten = await this.#during(undefined, async () => {
      const records = foldWorkshop(await this.#bench.papers.notesOf(paper));
      await this.#append(paper, bodies(records));
      this.#change({ ...this.#state, said });
      await this.#refresh();
      return true;
    });
    return isWritten === true;
  }

  async #append(paper: string, bodies: readonly WorkshopNote[]): Promise<void> {
    let before = await this.#bench.papers.notesOf(paper);
    const notes: Note[] = [];
    for (const body of bodies) {
      const time = timeAfter(before, this.#bench.logbook.now());
      const note: Note = { id: randomId(), paper, of: 'workshop', time, body };
      notes.push(note);
      before = [note];
    }
    if (notes.length > 0) await this.#bench.papers.write(...notes);
  }

  #demand(problems: readonly Problem[], heading: string): void {
    if (problems.length > 0) throw new Refused(heading, problems);
  }

  /** @throws Refused while the logbook's own page takes out or brings in: it does one thing at a time */
  #demandIdle(heading: string): void {
    const { work } = this.#bench.exchange.state;
    if (work === undefined) return;
    const what = `it is at work (${work}). Wait until it is done`;
    this.#demand([{ path: 'the logbook', what }], heading);
  }

  /** Does one thing after the other; what goes wrong is shown. */
  #during<T>(work: string | undefined, task: () => Promise<T>): Promise<T | undefined> {
    const done = this.#turn.then(async () => {
      const state = { ...without(this.#state, 'trouble', 'work'), said: '' };
      this.#change({ ...state, ...(work !== undefined && { work }) });
      try {
        return await task();
      } catch (error) {
        this.#refuse(error);
        return undefined;
      } finally {
        this.#change(without(this.#state, 'work'));
      }
    });
    this.#turn = done.catch(() => {}); // told to whoever asked; the next is done all the same
    return done;
  }

  #refuse(error: unknown): void {
    const { said: _, ...state } = this.#state;
    this.#change({ ...state, said: '', trouble: troubleOf(error) });
  }

  /** Reads again what is shown. Asked for in the midst of reading, it is done once more, however often it was asked. */
  #refresh(): Promise<void> {
    if (this.#reading) {
      this.#again = true;
      return this.#reading;
    }
    this.#reading = this.#read().finally(() => {
      this.#reading = undefined;
    });
    return this.#reading;
  }

  async #read(): Promise<void> {
    do {
      this.#again = false;
      const { paper } = this.#state.opened ?? {};
      try {
        const [workshops, notes] = await Promise.all([
          this.#bench.papers.papers('workshop'),
          paper === undefined ? [] : this.#bench.papers.notesOf(paper),
        ]);
        if (paper !== this.#state.opened?.paper) {
          this.#again = true; // another was opened meanwhile
          continue;
        }
        this.#records = foldWorkshop(notes);
        await this.#readBoards();
        this.#show({ workshops });
      } catch (error) {
        this.#refuse(error);
      }
    } while (this.#again);
  }

  /** Reads of the logbook what is not known of boards that are not linked here. */
  async #readBoards(): Promise<void> {
    const { kits = [], takenOff = [] } = this.#records ?? {};
    for (const serial of new Set([...kits, ...takenOff].map((kit) => kit.serial))) {
      if (serial === '' || this.#logged.has(serial) || this.#isLinked(serial)) continue;
      const heard = this.#heard;
      const entries = await this.#bench.entriesOf(serial);
      if (heard === this.#heard) this.#logged.set(serial, loggedIn(entries));
      else this.#again = true; // these may be old by now
    }
  }

  /** Something at the bench is otherwise: shows it, and reads of boards that are no longer linked, if anyone looks. */
  #look(): void {
    if (this.#listeners.size === 0 || !this.#state.opened) return;
    const isUnread = this.#records?.kits.some(
      ({ serial }) => serial !== '' && !this.#logged.has(serial) && !this.#isLinked(serial),
    );
    if (isUnread) void this.#refresh();
    else this.#show();
  }

  #placeOf(serial: string): PlaceState | undefined {
    if (serial === '') return undefined;
    return this.#bench.places.find((place) => place.serial === serial)?.state;
  }

  #isLinked(serial: string): boolean {
    const state = this.#placeOf(serial)?.link.state;
    return state === 'linked' || state === 'linking';
  }

  #rowOf(kit: KitRecord, records: WorkshopRecords): KitRow {
    const place = this.#placeOf(kit.serial);
    const logged = this.#logged.get(kit.serial);
    const from = [records, place, logged];
    const before = this.#rows.get(kit.kit);
    if (before && before.from.every((each, i) => each === from[i])) return before.row;
    const here = this.#bench.papers.bench;
    const row = kitRow(kit, { here, ...(place && { place }), ...(logged && { logged }) }, records);
    this.#rows.set(kit.kit, { from, row });
    return row;
  }

  /** @param read what was just read, if anything was; else nothing is told where nothing shows otherwise */
  #show(read?: Pick<WorkshopState, 'workshops'>): void {
    const { opened, ...rest } = this.#state;
    const records = this.#records;
    const linked = this.#bench.places.filter(({ state }) => state.link.state === 'linked');
    const onRoster = new Set(records ? serialsOf(records) : []);
    const strangers = linked.flatMap(({ serial, state: { history } }) =>
      serial === undefined || onRoster.has(serial)
        ? []
        : [{ serial, name: history.identity?.name ?? '' }],
    );
    const siteChecks = linked
      .flatMap(({ serial: board, state: { history } }) => {
        const { newest } = history.site;
        if (board === undefined || !newest) return [];
        return [{ board, checked: newest.time, verdict: newest.verdict }];
      })
      .sort((a, b) => (a.checked < b.checked ? 1 : -1));
    const rowOf = (kit: KitRecord) => this.#rowOf(kit, records!);
    const now =
      records && workshopNow(records, records.kits.map(rowOf), records.takenOff.map(rowOf));
    const isAsBefore =
      opened?.now?.kits.every((row, i) => row === now?.kits[i]) &&
      isSameData(strangers, rest.strangers) &&
      isSameData(siteChecks, rest.siteChecks);
    if (!read && isAsBefore) return; // the bench tells of much that is none of a workshop's business
    const isRead = read !== undefined || opened?.isRead === true;
    this.#change({
      ...rest,
      ...read,
      strangers,
      siteChecks,
      ...(opened && { opened: { paper: opened.paper, isRead, ...(now && { now }) } }),
    });
  }

  #change(state: WorkshopState): void {
    this.#state = state;
    for (const listener of this.#listeners) listener();
  }
}

/** Characters that a remark may have. */
const LONGEST_REMARK = 1000;

const GONE: Problem = { path: 'the workshop', what: 'it is not in the logbook' };

/** Something was not done, because of what was given. */
class Refused extends Error {
  readonly problems: readonly Problem[];
  constructor(heading: string, problems: readonly Problem[]) {
    super(heading);
    this.problems = problems;
  }
}

function troubleOf(error: unknown): NonNullable<WorkshopState['trouble']> {
  if (error instanceof Refused) {
    const message = 'Nothing was changed. Put right what is named, then try again.';
    return { heading: error.message, message, ...named(error.problems) };
  }
  if (error instanceof BenchError) {
    return { heading: error.heading, message: error.message, problems: [], others: 0 };
  }
  if (!(error instanceof LogbookError)) throw error;
  const heading = 'The logbook could not do this';
  return { heading, message: error.message, problems: [], others: 0 };
}

const MOST_NAMED = 10;
const named = (problems: readonly Problem[]) => ({
  problems: problems.slice(0, MOST_NAMED),
  others: Math.max(0, problems.length - MOST_NAMED),
});

/** @throws Refused where what a person gave cannot be */
function setOut({ name, place, day, tolerance }: WorkshopTerms): WorkshopNote {
  const terms = { name: name.toWellFormed().trim(), place: place.toWellFormed().trim(), day };
  const problems = [
    ...(terms.name === '' ? [{ path: 'the name', what: 'it is empty' }] : []),
    ...(['name', 'place'] as const)
      .filter((field) => terms[field].length > 200)
      .map((field) => ({ path: `the ${field}`, what: 'it must have 200 characters at most' })),
    ...(/^\d{4}-\d{2}-\d{2}$/.test(day) ? [] : [{ path: 'the day', what: 'it must be a date' }]),
    ...(tolerance.degrees > 0 && tolerance.degrees <= 360
      ? []
      : [{ path: 'the tolerance', what: 'it must be above 0 and at most 360 degrees' }]),
  ];
  if (problems.length > 0) throw new Refused('The workshop was not written', problems);
  return { kind: 'workshop set out', ...terms, tolerance };
}

/** @returns undefined where nothing was ever written of the board */
function loggedIn(entries: readonly StoredEntry[]): KnownBoard['logged'] {
  const last = entries.at(-1);
  if (!last) return undefined;
  const { time, foreign } = last;
  const bench = foreign && { bench: writerOf(foreign.bench) };
  return { history: foldHistory(entries), time, ...bench };
}

const serialsOf = ({ kits }: WorkshopRecords): string[] =>
  kits.flatMap(({ serial }) => (serial === '' ? [] : [serial]));

/** @throws Refused where there is no such kit */
function kitIn({ kits, takenOff }: WorkshopRecords, id: string): KitRecord {
  const found = [...kits, ...takenOff].find(({ kit, alias }) => kit === id || alias.includes(id));
  if (!found) throw new Refused('Nothing was written', [{ path: 'the kit', what: 'it is not on the roster' }]); // prettier-ignore
  return found;
}

/** How the boards known at this computer stand now, as far as no note says just that. */
function seenNow(
  now: WorkshopNow,
  { seen }: WorkshopRecords,
  moment: Date,
  bench: string,
): WorkshopNote[] {
  return now.kits.flatMap(({ serial, whereabouts, stage, trouble, asOf }): WorkshopNote[] => {
    if (whereabouts === 'elsewhere' || whereabouts === 'not seen') return [];
    const before = lastSeen(seen, serial);
    const isSaid =
      before?.stage === stage.name && before.words === stage.words && before.trouble === trouble;
    if (isSaid) return [];
    const when = whereabouts === 'put away' ? asOf : undefined;
    return [
      {
        kind: 'board seen',
        board: serial,
        bench,
        seen: when ?? moment.toISOString(),
        stage: stage.name,
        words: stage.words,
        ...(trouble !== undefined && { trouble }),
      },
    ];
  });
}

function kitLine(row: KitRow): KitLine {
  const { place, builder, serial, name, stage, asOf, trouble, result, site, remarks } = row;
  return {
    place,
    builder,
    serial,
    ...(name !== undefined && { board_name: name }),
    stage: stage.words,
    ...(asOf !== undefined && { as_of: asOf }),
    ...(trouble !== undefined && { trouble }),
    ...(result && resultLine(result)),
    ...(site && { site }),
    ...(remarks.length > 0 && { remarks: remarks.map(({ text }) => text).join(' / ') }),
  };
}

function resultLine(result: KitResult): Partial<KitLine> {
  const { generation, sealed, crc, tolerance, judged, proof, temperature, meanSpread } = result;
  return {
    ...(generation !== undefined && { generation }),
    ...(sealed !== undefined && { sealed }),
    ...(crc !== undefined && { crc }),
    judged: JUDGED[judged],
    tolerance_deg: tolerance.degrees,
    azimuth_95_deg: result.azimuth,
    inclination_95_deg: result.inclination,
    ...(meanSpread !== undefined && { mean_spread_deg: meanSpread }),
    readings: result.readings,
    ...(proof && {
      proof: proof.passed && proof.holds ? 'passed' : 'failed',
      proof_readings: proof.readings,
    }),
    ...(temperature && { temp_min_c: temperature.coldest, temp_max_c: temperature.warmest }),
  };
}

const JUDGED: Record<KitResult['judged'], string> = {
  good: 'good enough',
  watch: 'good enough, with something to look at',
  bad: 'not good enough',
};
