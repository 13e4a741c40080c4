import type { Board } from '../../protocol/board.ts';
import type { Clock } from '../../protocol/clock.ts';
import { ProtocolError } from '../../protocol/errors.ts';
import type { UpdatePlan } from '../../records/entries.ts';
import { surveyCsv } from '../../records/survey-csv.ts';
import { BenchError } from '../bench-words.ts';
import { readingsAmong } from '../board-memory.ts';
import { collectsNow, foldHistory } from '../calibration-state.ts';
import type { Desk } from '../desk.ts';
import type { Work } from '../place-state.ts';
import { isRefusal } from '../refusals.ts';
import { fetchLacking } from '../saving.ts';
import type { Taking } from '../taking.ts';
import { openUpdate } from './care-history.ts';
import { careOf, type OfferedSnapshot } from './care-state.ts';
import { judgeFirmware } from './firmware-fit.ts';
import { askImage, show, stillWanted } from './look-after.ts';
import { eraseSaved } from './memory.ts';
import { rename, setClock } from './naming.ts';
import { sendSettings } from './settings.ts';
import { settingsDifference, want } from './settings-sheet.ts';
import { changeFirmware } from './updating.ts';

export interface CareParts {
  desk: Desk;
  taking: Taking;
  clock: Clock;
  linkThrough(ms: number, isThrough?: () => boolean): Promise<void>;
  /** Runs a piece of work; does nothing while another is under way. What goes wrong is shown. */
  during(work: Work, task: () => Promise<void>): Promise<void>;
}

/** How long a board that was told to start again may take, milliseconds. */
const RESTARTING_MS = 30_000;

/** What a person does for the care of the board at one place. Each resolves when it is done or has failed. */
export class BoardCare {
  constructor(private readonly parts: CareParts) {}

  // Settings

  /** Notes what a setting is to be. Nothing is sent. */
  want(name: string, value: string): void {
    const { desk } = this.parts;
    const { settings } = desk.state.history.care;
    if (!settings) return;
    const { wanted } = careOf(desk.state);
    show(desk, { wanted: want({ ...settings, changes: wanted }, name, value).changes });
  }

  /** Forgets what settings were to be. */
  wantNothing(): void {
    show(this.parts.desk, { wanted: new Map() }, 'notBroughtBack');
  }

  /** Sends what is wanted, together, and reads back. */
  async sendSettings(): Promise<void> {
    await this.#do('Sending the settings', async (board) => {
      const { desk } = this.parts;
      const { wanted } = careOf(desk.state);
      if (wanted.size === 0) return;
      let waits: boolean;
      try {
        waits = await sendSettings(desk, board, wanted);
      } finally {
        show(desk, { wanted: stillWanted(desk, careOf(desk.state).wanted) });
      }
      show(desk, { ...(waits && { restartWaits: true }) }, 'notBroughtBack');
      desk.say(
        waits
          ? 'The settings are in force, read back from the board, but for those that wait for it to start again.'
          : 'The settings are in force, read back from the board.',
      );
    });
  }

  /** Looks in the logbook for settings that could be put back: of this board, and the newest of others of its kind. */
  async lookForSnapshots(): Promise<void> {
    const { desk } = this.parts;
    await this.#during('Looking in the logbook', false, async () => {
      show(desk, { snapshots: await snapshotsFor(desk) });
    });
  }

  /** Stages the settings of a snapshot: they are wanted from now on, and not sent. */
  stage(snapshot: OfferedSnapshot): void {
    const { desk } = this.parts;
    const now = desk.state.history.care.settings?.settings ?? [];
    const { differing, lost } = settingsDifference(snapshot.settings, now);
    show(desk, {
      wanted: new Map(differing.map(({ name, saved }) => [name, saved])),
      notBroughtBack: lost.map(
        ({ label, saved, why }) => `“${label}” was ${saved || 'empty'}; that ${why}.`,
      ),
    });
    desk.say(
      differing.length === 0
        ? 'The settings are so already.'
        : `${differing.length === 1 ? 'One setting differs' : `${differing.length} settings differ`}. Look at them, then send them.`,
    );
  }

  // Name, clock, light, trigger

  async rename(to: string): Promise<void> {
    await this.#do('Renaming the board', (board) => rename(this.parts.desk, board, to));
  }

  async setClock(): Promise<void> {
    await this.#do('Setting its clock', async (board) => {
      const { desk } = this.parts;
      await setClock(desk, board);
      const { utc: said } = await board.ask('clock', {}, desk.signal);
      show(desk, { clock: { said, at: desk.now().toISOString() } });
      desk.say('The clock is set.');
    });
  }

  async setLight(set: 'on' | 'off'): Promise<void> {
    await this.#do('Switching the light', async (board) => {
      const { light } = await board.ask('light', { set }, this.parts.desk.signal);
      show(this.parts.desk, { light });
      this.parts.desk.say(`The light is ${light}.`);
    });
  }

  /** Takes a reading outside any calibration. */
  async trigger(): Promise<void> {
    await this.#do('Taking a reading', async (board) => {
      const { desk } = this.parts;
      await board.mode('collect', desk.signal);
      const number = await board.capture(desk.signal);
      await board.mode('idle', desk.signal);
      await this.#fetch(board);
      desk.say(`Reading ${number} was taken and saved.`);
    });
  }

  async restart(): Promise<void> {
    await this.#do('Starting the board again', async (board) => {
      await board.ask('restart', {}, this.parts.desk.signal);
      await this.parts.linkThrough(RESTARTING_MS);
      this.parts.desk.say('The board has started again.');
    });
  }

  // Memory

  /** Asks what is in its memory, and records what of it the logbook lacks. */
  async fetchMemory(): Promise<void> {
    await this.#do('Asking what is in its memory', async (board) => {
      const said = await this.#fetch(board);
      const { count } = careOf(this.parts.desk.state).memory!;
      const all =
        count === 0
          ? 'Its memory is empty.'
          : count === 1
            ? 'The logbook holds the one reading that is in its memory.'
            : `The logbook holds all ${count} readings that are in its memory.`;
      this.parts.desk.say(said.join(' ') || all);
    });
  }

  /** Lets the board forget its readings, once each was saved and compared. */
  async eraseMemory(): Promise<void> {
    await this.#do('Comparing the board’s memory with the logbook', async (board) => {
      const { desk } = this.parts;
      const what = 'Comparing the board’s memory with the logbook';
      const count = await eraseSaved(desk, board, what, 'readable only');
      show(desk, { memory: await board.memory(desk.signal) });
      desk.say(
        count === 0
          ? 'Its memory was empty already.'
          : count === 1
            ? 'The board has forgotten one reading, which is in the logbook.'
            : `The board has forgotten ${count} readings, which are in the logbook.`,
      );
    });
  }

  /** Every reading of the board that the logbook holds, with the board's own angles, as a CSV file. */
  async surveyCsv(): Promise<string> {
    const { desk } = this.parts;
    const { identity } = desk.state.history;
    if (!identity) return '';
    return surveyCsv(identity, readingsAmong(await desk.entriesOf(identity.serial)));
  }

  async #fetch(board: Board): Promise<string[]> {
    const { desk } = this.parts;
    const memory = await board.memory(desk.signal);
    const said = await fetchLacking(desk, board, memory, 'Fetching readings from its memory');
    show(desk, { memory });
    return said;
  }

  // Firmware

  /** Reads a file of firmware and judges whether it may go onto the board. Nothing is sent of it. */
  async chooseFirmware(name: string, file: Uint8Array): Promise<void> {
    await this.#do('Reading the file', async (board) => {
      const { desk } = this.parts;
      const image = await board.ask('image', {}, desk.signal);
      const { volt } = await board.sense(desk.signal);
      const judgement = await judgeFirmware(file, board.identity, image, volt);
      show(desk, { image, chosen: { name, file: file.slice(), judgement } });
    });
  }

  dropFirmware(): void {
    show(this.parts.desk, {}, 'chosen');
  }

  /** Puts the chosen firmware in place, or goes on with it. */
  async updateFirmware(): Promise<void> {
    await this.#do('Saving what is on the board', async (board) => {
      const { desk } = this.parts;
      const { chosen } = careOf(desk.state);
      const image = chosen?.judgement.image;
      if (!chosen || !image) return;
      const report = await board.ask('image', {}, desk.signal);
      const { volt } = await board.sense(desk.signal);
      const { unfit } = await judgeFirmware(chosen.file, board.identity, report, volt);
      if (unfit[0]) throw new BenchError('not_fit', unfit.map(({ words }) => words).join(' '));
      const { size, crc, version: to } = image;
      const { running: from, trialSeconds } = report;
      await this.#change(board, { from, to, size, crc, trialSeconds, source: 'file' }, chosen.file);
      show(desk, {}, 'chosen');
    });
  }

  /** Brings the firmware in the spare slot back. */
  async bringBackFirmware(): Promise<void> {
    await this.#do('Saving what is on the board', async (board) => {
      const { desk } = this.parts;
      const report = await board.ask('image', {}, desk.signal);
      const { state, spare: to, size, crc, running: from, trial, trialSeconds } = report;
      const isReady = state === 'checked' && !trial && to !== from;
      if (!isReady || to === undefined || size === undefined || crc === undefined) {
        throw new BenchError('not_fit', 'There is no other firmware on the board to bring back.');
      }
      await this.#change(board, { from, to, size, crc, trialSeconds, source: 'spare' }, undefined);
    });
  }

  /** Gives up firmware that is on its way. What is on the board of it does no harm, and goes with the next. */
  async giveUpFirmware(): Promise<void> {
    const { desk } = this.parts;
    await this.#during('Giving it up', false, async () => {
      const serial = desk.state.history.identity?.serial ?? '';
      if (!openUpdate(desk.state.history.care)) return;
      const reason = 'A person gave it up before it was started.';
      await desk.append({ ...desk.stamp(serial), kind: 'update given up', reason });
      show(desk, {}, 'chosen');
      desk.say('It is given up. The board runs what it ran.');
    });
  }

  async #change(board: Board, plan: UpdatePlan, file: Uint8Array | undefined): Promise<void> {
    const { desk } = this.parts;
    try {
      await changeFirmware(this.parts, plan, file);
    } catch (error) {
      const isPaused = error instanceof ProtocolError && error.cause === 'cancelled';
      if (desk.board === board && (isPaused || isRefusal(error))) {
        desk.startAfresh(); // the wish to stop is fulfilled
        if (collectsNow(desk.state.history)) await board.mode('collect');
        await askImage(desk, board);
        if (isPaused) desk.say('Paused. What was sent is on the board; go on when you like.');
      }
      throw error;
    }
  }

  /** Does something with the board, which a person may stop. */
  #do(what: string, task: (board: Board) => Promise<void>): Promise<void> {
    return this.#during(what, true, () => task(this.parts.desk.linked()));
  }

  #during(what: string, stoppable: boolean, task: () => Promise<void>): Promise<void> {
    return this.parts.during({ what, stoppable }, task);
  }
}

/** Snapshots of a board's settings, the newest first; of other boards of its kind the newest alone. */
async function snapshotsFor(desk: Desk): Promise<OfferedSnapshot[]> {
  const { identity, care } = desk.state.history;
  if (!identity) return [];
  const found: OfferedSnapshot[] = [];
  for (const serial of await desk.boards()) {
    const entries = await desk.entriesOf(serial);
    const { identity: its, care: newest } = foldHistory(entries);
    if (!its || its.hardware !== identity.hardware) continue;
    const { name } = its;
    if (serial !== identity.serial) {
      if (newest.settings) found.push({ serial, name, ...newest.settings });
      continue;
    }
    for (const entry of entries) {
      if (entry.kind !== 'settings saved' || entry.revision === care.settings?.revision) continue;
      const { revision, settings, time } = entry;
      found.push({ serial, name, revision, settings, time });
    }
  }
  return found.sort((a, b) => (a.time < b.time ? 1 : -1));
}
