import type { Clock } from '../protocol/clock.ts';
import type { ByteLink } from '../protocol/link.ts';
import type { SimulatorControl } from '../protocol/simulator.ts';
import type { BenchPlace } from './place.ts';
import type { BoardHistory } from './calibration-state.ts';
import {
  boardLine,
  byReason,
  reportJson,
  reportText,
  tally,
  verdict,
  type Report,
} from './conformance/report.ts';
import type { Consents } from './conformance/trial.ts';

/** The check of the board at one place: what a person may agree to, how it goes, and the latest report. */

const WORK = { what: 'Checking that the board speaks the protocol', stoppable: true };

const PUTTING_RIGHT = { what: 'Putting back what the check has changed', stoppable: false };

/** The checks themselves, which only makers of boards need: they are loaded when they are asked for. */
const loadChecks = () => import('./conformance/run.ts');
type Checks = Awaited<ReturnType<typeof loadChecks>>;

/** How long a person has to press the trigger, milliseconds. */
const PRESSING_MS = 10_000;

/** Everything that can be agreed to. */
export interface Leave extends Consents {
  /** Someone is at the board, to press its trigger when asked. */
  press?: boolean;
}

/** One thing that can be agreed to, in words. */
export interface LeaveOffer {
  name: keyof Leave;
  label: string;
  /** What is done, and what it leaves behind. */
  note: string;
}

export class BoardCheck {
  #report: Report | undefined;

  /** @param hand of a simulated board, which presses its trigger by itself */
  constructor(
    private readonly place: Pick<BenchPlace, 'lendLink'>,
    private readonly parts: { clock: Clock; random(): number },
    private readonly hand: () => SimulatorControl | undefined,
  ) {}

  /** The latest report, if it is about the board with this serial number. */
  reportOn(serial: string | undefined): Report | undefined {
    const of = this.#report?.found?.hello['serial']?.[0];
    return of === undefined || of === serial ? this.#report : undefined;
  }

  /** Puts back what a check that was cut off has changed, if this is the same board still. */
  async putRight(): Promise<void> {
    const checks = await loadChecks();
    await this.place.lendLink(
      PUTTING_RIGHT,
      async (link) => void (await this.#putRight(checks, link)),
    );
  }

  /** @returns whether this board is still not as it was */
  async #putRight(checks: Checks, link: ByteLink): Promise<boolean> {
    const { clock, random } = this.parts;
    if (!this.#report?.owing) return false;
    const now = await checks.putRight(link, this.#report, { clock, random: () => random() });
    if (now) this.#report = now;
    return now?.owing !== undefined;
  }

  /**
   * Checks the board. The conversation with it is ended before and begun anew afterwards. What an earlier check has left
   * changed is put back first, or it would count as found; where that fails, nothing more is done.
   */
  async run({ press, ...consents }: Leave): Promise<void> {
    const { clock, random } = this.parts;
    const checks = await loadChecks();
    await this.place.lendLink(WORK, async (link, signal, show) => {
      if (await this.#putRight(checks, link)) return;
      const ask = async (): Promise<void> => {
        const hand = this.hand();
        if (hand) return hand.press();
        show({ ...WORK, what: 'Press the trigger of the board once, within ten seconds' });
        await new Promise<void>((resolve) => void clock.after(PRESSING_MS, resolve));
      };
      this.#report = await checks.checkConformance(link, {
        clock,
        random: () => random(),
        consents,
        hands: press ? { press: ask } : {},
        signal,
        onProgress: ({ done, of }) => show({ ...WORK, done, of }),
      });
    });
  }
}

/** What can be agreed to for this board now; what would make no sense on it is left out. */
export function leaveOffers({
  identity,
  inForce,
  memory,
  calibration,
}: BoardHistory): LeaveOffer[] {
  const can = (capability: string) => identity?.capabilities.includes(capability) === true;
  const underWay = calibration !== undefined && !calibration.ended;
  const offers: (LeaveOffer | false)[] = [
    memory?.count === 0 && {
      name: 'readings',
      label: 'Take readings and erase them again',
      note: 'Some sixty readings, each erased at once. Their numbers are not given again.',
    },
    memory?.count === 0 &&
      can('trigger') && {
        name: 'press',
        label: 'Ask for the trigger to be pressed',
        note: 'Twice, while the check runs, with ten seconds for it. Goes with the readings.',
      },
    {
      name: 'settings',
      label: 'Rename it and change a setting, and put both back',
      note: 'The revision of the settings goes up.',
    },
    !underWay &&
      inForce !== undefined && {
        name: 'seal',
        label: 'Seal coefficients and go back to those in force now',
        note: 'What is sealed measures the same azimuth and inclination; only roll is one degree off. Those in force now are in force afterwards, under a higher number.',
      },
    !underWay &&
      inForce === undefined && {
        name: 'firstSeal',
        label: 'Seal a first set of coefficients',
        note: 'The board has none. The first one cannot be taken back: it corrects nothing, and a calibration then replaces it.',
      },
    {
      name: 'restart',
      label: 'Have it start again',
      note: 'Twice. On some links that ends the link for a few seconds.',
    },
  ];
  return offers.filter((offer) => offer !== false);
}

/** A failed check, for the screen. */
export interface FailedCheck {
  name: string;
  /** Where SPEC.md says it, and what. */
  rule: string;
  findings: readonly { lines: readonly string[]; wanted?: string }[];
  /** How many more findings there are than are shown. */
  more: number;
}

/** A report, for the screen. */
export interface ReportWords {
  board: string;
  verdict: string;
  sound: boolean;
  failed: readonly FailedCheck[];
  untried: readonly { why: string; names: readonly string[] }[];
  passed: readonly string[];
  /** How the board was left. */
  left: readonly string[];
  asFound: boolean;
  /** Lines to send, to put it right. */
  lines: readonly string[];
  /** Whether `putRight` can put something back. */
  canPutRight: boolean;
}

const SHOWN = 4;

export function reportWords(report: Report): ReportWords {
  const { checks, cut, left } = report;
  const having = (outcome: string) => checks.filter((check) => check.outcome === outcome);
  return {
    board: boardLine(report),
    verdict: verdict(report),
    sound: tally(report).failed === 0 && !cut,
    failed: having('failed').map(({ name, section, says, findings }) => ({
      name,
      rule: `SPEC.md ${section}: ${says}`,
      findings: findings.slice(0, SHOWN).map(({ sent, came, wanted }) => ({
        lines: [
          ...sent.filter((line) => line !== '').map((line) => `> ${line}`),
          ...(came.length > 0 ? came.map((line) => `< ${line}`) : ['(nothing came)']),
        ],
        ...(wanted !== says && { wanted }),
      })),
      more: Math.max(0, findings.length - SHOWN),
    })),
    untried: [...byReason(having('not tried'))].map(([why, names]) => ({ why, names })),
    passed: having('passed').map(({ name, section }) => `${name} (${section})`),
    left: left.words,
    asFound: left.asFound,
    lines: left.lines,
    canPutRight: report.owing !== undefined,
  };
}

/** The report as files for the maker of the board. */
export const reportFiles = (report: Report) =>
  [
    { ending: 'txt', type: 'text/plain', label: 'Save as text', text: reportText(report) },
    { ending: 'json', type: 'application/json', label: 'Save as JSON', text: reportJson(report) },
  ] as const;

export type { Report } from './conformance/report.ts';
