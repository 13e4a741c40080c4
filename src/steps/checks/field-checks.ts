import type { Uncertainty } from '../../calib/covariance.ts';
import type { CheckTerms, Entry, ToleranceChoice } from '../../records/entries.ts';
import { crcOf } from '../../records/coefficients-words.ts';
import { BenchError } from '../bench-words.ts';
import { collectsNow } from '../calibration-state.ts';
import type { Desk } from '../desk.ts';
import type { Work } from '../place-state.ts';
import type { Taking } from '../taking.ts';
import { doubtsInCheck } from './check-doubts.ts';
import {
  awaitsSwap,
  isTaken,
  lastPlace,
  openCheckPlaces,
  type CheckState,
} from './check-history.ts';
import { rangeCorrection, type RangeCorrection } from '../../protocol/range-settings.ts';
import type { CheckIntention } from './next-in-check.ts';

export interface FieldCheckParts {
  desk: Desk;
  taking: Taking;
  /** Runs a piece of work; does nothing while another is under way. What goes wrong is shown. */
  during(work: Work, task: () => Promise<void>): Promise<void>;
}

/** The arithmetic, which nobody needs before a check is at its end: loaded then. */
const loadVerdict = () => import('./verdict.ts');

/**
 * The checks of the instrument at one place, in the field: with whatever the board runs, at any time. One is under way at
 * most; beginning another leaves it. Each method resolves when it is done or has failed.
 */
export class FieldChecks {
  constructor(private readonly parts: FieldCheckParts) {}

  /** Begins a check of what the board runs. Nothing on the board changes. */
  async begin(terms: CheckTerms, tolerance: ToleranceChoice): Promise<void> {
    const { desk, taking } = this.parts;
    await this.#during('Beginning the check', false, async () => {
      const board = desk.linked();
      const { inForce } = desk.state.history;
      if (!inForce) throw new BenchError('nothing_to_check');
      await taking.settle(); // or the check would take a reading that was asked for before it
      const { generation, crc, model, values } = inForce;
      const correction = correctionNow(desk);
      const stamp = desk.stamp(board.identity.serial);
      const { now: before } = desk.state.history.checks;
      const left: Entry[] = before
        ? [{ ...stamp, kind: 'check left', check: before.begun.id }]
        : [];
      await desk.append(...left, {
        ...stamp,
        kind: 'check begun',
        id: `${stamp.board} check ${stamp.time}`,
        terms,
        tolerance,
        generation,
        set: { model, values },
        crc,
        ...(correction && { correction }),
      });
      desk.say('The check is begun.');
      await board.mode('collect', desk.signal);
    });
  }

  /**
   * Writes to the board what the newest range check found, so that its ranges are true: with the care of all settings, saved
   * before, adopted in one step, read back and compared.
   *
   * @throws (shown) BenchError `cannot_be` where the board has no settings for it, or they were changed since the check
   */
  async writeRange(): Promise<void> {
    const { desk } = this.parts;
    await this.#during('Writing what the range check found', false, async () => {
      const { writeRange } = await import('./write-range.ts');
      await writeRange(desk, correctionNow(desk));
    });
  }

  /** Does what is asked of the check under way. */
  perform(intention: CheckIntention): Promise<void> {
    switch (intention) {
      case 'check one':
        return this.#take('next');
      case 'check rest':
        return this.#take('rest');
      case 'check again':
        return this.#retake();
      case 'battery is changed':
        return this.#batteryChanged();
      case 'settle':
        return this.#during('Working out what they say', false, () => this.#settle());
      case 'leave check':
        return this.#leave();
    }
  }

  /** Takes the next reading; `rest`: all that can be taken now, where a simulated hand aims. Then says what they come to. */
  async #take(which: 'next' | 'rest'): Promise<void> {
    const { taking } = this.parts;
    await this.#during('Taking readings for the check', true, async () => {
      await taking.takeForCheck(() => {
        const open = openCheckPlaces(this.#now());
        return which === 'next' ? open.slice(0, 1) : open;
      });
      await this.#settle();
    });
  }

  /** Takes the place that was taken last once more: the new reading counts in place of the one before. */
  async #retake(): Promise<void> {
    const { taking } = this.parts;
    await this.#during('Taking the last one again', true, async () => {
      const last = lastPlace(this.#now());
      await taking.takeForCheck(() => (last ? [last] : []));
      await this.#settle();
    });
  }

  /** Goes on with what comes after a change of battery, since a person says that it was changed. */
  async #batteryChanged(): Promise<void> {
    const { desk } = this.parts;
    await this.#during('Going on with the check', false, async () => {
      const { begun } = this.#now();
      if (!awaitsSwap(this.#now())) return;
      const stamp = desk.stamp(begun.board);
      const id = `${begun.id} battery ${stamp.time}`;
      await desk.append({ ...stamp, kind: 'battery changed', id });
      desk.say('The change of battery is written in the logbook.');
    });
  }

  /** Leaves the check; what was taken stays in the logbook. */
  async #leave(): Promise<void> {
    const { desk } = this.parts;
    await this.#during('Leaving the check', false, async () => {
      const { begun } = this.#now();
      await desk.append({ ...desk.stamp(begun.board), kind: 'check left', check: begun.id });
      desk.say('The check is left.');
      await this.#restoreMode();
    });
  }

  /** Says what the readings come to, where all are in; does nothing otherwise. */
  async #settle(): Promise<void> {
    const { desk } = this.parts;
    const { checks } = desk.state.history;
    if (!checks.now || !isTaken(checks.now)) return;
    const { begun, readings } = checks.now;
    const { verdictOf } = await loadVerdict();
    const calibration = await this.#uncertaintyOf(begun.crc);
    const now = correctionNow(desk);
    const known = checks.records.range?.range;
    const ranging = { ...(known && { found: known }), ...(now && { now }) };
    const record = verdictOf(begun, readings, calibration, ranging);
    const doubts = doubtsInCheck(checks.now, desk.linked().identity);
    const warnings = [...record.warnings, ...doubts];
    await desk.append({ ...desk.stamp(begun.board), kind: 'check', ...record, warnings });
    desk.say(`The check ${VERDICTS[record.verdict]}.`);
    await this.#restoreMode();
  }

  async #restoreMode(): Promise<void> {
    const { desk } = this.parts;
    if (!collectsNow(desk.state.history)) await desk.board?.mode('idle', desk.signal);
  }

  /** Of the newest fit that gave these coefficients, whichever calibration it was of. */
  async #uncertaintyOf(crc: string): Promise<Uncertainty | undefined> {
    const { desk } = this.parts;
    const entries = await desk.entriesOf(desk.linked().identity.serial);
    for (const entry of [...entries].reverse()) {
      if (entry.kind === 'fit' && crcOf(entry.coefficients) === crc) return entry.uncertainty;
    }
    return undefined;
  }

  #now(): CheckState {
    const { now } = this.parts.desk.state.history.checks;
    if (!now) throw new Error('no check is under way');
    return now;
  }

  #during(what: string, stoppable: boolean, task: () => Promise<void>): Promise<void> {
    return this.parts.during({ what, stoppable }, task);
  }
}

const VERDICTS = {
  passed: 'is passed',
  failed: 'is not passed',
  'not settled': 'does not settle it',
} as const;

/** What the board adds to its ranges, as its settings were read last. */
const correctionNow = ({ state }: Desk): RangeCorrection | undefined =>
  rangeCorrection(state.history.care.settings?.settings ?? []);
