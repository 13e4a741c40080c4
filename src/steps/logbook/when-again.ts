import type { BoardInShort } from '../../records/logbook.ts';
import { CHECK_NAMES, isOfCoefficients } from '../checks/check-names.ts';
import { dayOf, dayWords, isDay } from '../time-words.ts';

/**
 * When a board is to be calibrated again, and why. Every rule here is common practice in the trade, with no published
 * source; how long a season is, and how much warmer or colder is too much, a person may set.
 */

export interface Thresholds {
  /** How long a calibration is good for where nothing else speaks against it. */
  months: number;
  /** How far outside the temperatures it was made with it still holds, degrees Celsius. */
  degrees: number;
}

/** Half a year, our own choice for a season; and the 5 °C of calib/validity.ts. */
export const ORDINARY_THRESHOLDS: Thresholds = { months: 6, degrees: 5 };

/** What thresholds can be, both ends included. */
export const THRESHOLD_LIMITS = { months: [1, 60], degrees: [1, 60] } as const;

export type Rule =
  | 'never'
  | 'season'
  | 'temperature'
  | 'knock'
  | 'battery'
  | 'firmware'
  | 'failed proof'
  | 'failed check'
  | 'reverted'
  | 'lost';

/** A reason to calibrate again, with what shows it. */
export interface Reason {
  rule: Rule;
  /** In a few words, to go on from "because". */
  because: string;
  /** What shows it, a sentence. */
  evidence: string;
  /** When that was, ISO 8601: a moment, or a day where a person gave one. Absent where there is no such time. */
  when?: string;
}

/**
 * - `now`: at least one reason stands, the weightiest first
 * - `soon`: nothing stands, and the season is over within {@link SOON_DAYS}
 * - `not yet`: nothing stands until the season is over, at `by`
 * - `no coefficients`: it was never calibrated here, and none of another's are known to be on it
 */
export type WhenAgain =
  | { verdict: 'now'; reasons: readonly Reason[] }
  | { verdict: 'soon' | 'not yet'; by: string; reasons: readonly [Reason] }
  | { verdict: 'no coefficients'; reasons: readonly [Reason] };

export const SOON_DAYS = 30;

/** @param today the time of day, ISO 8601 */
export function whenAgain(
  board: BoardInShort,
  today: string,
  thresholds: Thresholds = ORDINARY_THRESHOLDS,
): WhenAgain {
  const { since, proof } = board;
  const { inForce } = since;
  if (!inForce) return neverHere(board);
  const made = since.sets[inForce.crc]!; // every set that was put in force is there
  const season = seasonOf(made, thresholds);
  const reasons: Reason[] = [
    ...lostReason(since),
    ...(proof && !proof.passed
      ? [
          {
            rule: 'failed proof' as const,
            because: 'the last proof did not pass',
            evidence: `The newest proof of generation ${inForce.generation} found it out of what is allowed.`,
            when: proof.time,
          },
        ]
      : []),
    ...failedCheckReasons(board),
    ...(inForce.reverted
      ? [
          {
            rule: 'reverted' as const,
            because: 'it went back to earlier coefficients',
            evidence: `The coefficients before were put in force again, as generation ${inForce.generation}.`,
            when: inForce.time,
          },
        ]
      : []),
    ...remarkReasons(since, made.time),
    ...firmwareReason(since, made.firmware),
    ...temperatureReason(since, made.temperature, thresholds.degrees),
    ...(Date.parse(today) >= Date.parse(season.by) ? [season.reason] : []),
  ];
  if (reasons.length > 0) return { verdict: 'now', reasons };
  const days = (Date.parse(season.by) - Date.parse(today)) / DAY;
  return {
    verdict: days <= SOON_DAYS ? 'soon' : 'not yet',
    by: season.by,
    reasons: [season.reason],
  };
}

const DAY = 86_400_000;

type Since = BoardInShort['since'];
type Made = Since['sets'][string];

function neverHere({ since }: BoardInShort): WhenAgain {
  if (!since.unknown) {
    const because = 'it has no coefficients yet';
    const evidence = 'No calibration of it is known to this logbook.';
    return { verdict: 'no coefficients', reasons: [{ rule: 'never', because, evidence }] };
  }
  const { generation, time } = since.unknown;
  return {
    verdict: 'now',
    reasons: [
      {
        rule: 'never',
        because: 'nobody knows how old its coefficients are',
        evidence: `It runs generation ${generation}, which was not made here: when, and with which battery and at what temperature, is not known.`,
        when: time,
      },
    ],
  };
}

function seasonOf(made: Made, { months }: Thresholds): { by: string; reason: Reason } {
  const length = months === 1 ? 'a month' : `${months} months`;
  return {
    by: monthsAfter(made.time, months),
    reason: {
      rule: 'season',
      because: `a calibration is trusted for ${length}`,
      evidence: made.elsewhere
        ? 'Its coefficients were made elsewhere; they were first put on it here then, and are older.'
        : 'Its coefficients were made then.',
      when: made.time,
    },
  };
}

/** The same day of the month, or the last of it where there is none. */
function monthsAfter(iso: string, months: number): string {
  const date = new Date(iso);
  const day = date.getUTCDate();
  date.setUTCDate(1);
  date.setUTCMonth(date.getUTCMonth() + months);
  const last = new Date(Date.UTC(date.getUTCFullYear(), date.getUTCMonth() + 1, 0)).getUTCDate();
  date.setUTCDate(Math.min(day, last));
  return date.toISOString();
}

function lostReason({ lost, inForce }: Since): Reason[] {
  if (!lost || !inForce) return [];
  const { generation, time } = lost;
  return [
    {
      rule: 'lost',
      because: 'it no longer runs the coefficients that were put on it',
      evidence:
        generation === undefined
          ? `It was found without coefficients; generation ${inForce.generation} should be in force.`
          : `It was found to run generation ${generation}, which was not made here; generation ${inForce.generation} should be in force.`,
      when: time,
    },
  ];
}

/** The newest of those whose kind has not been passed since. */
function failedCheckReasons({ checks = {} }: BoardInShort): Reason[] {
  return (Object.keys(checks) as (keyof typeof checks)[])
    .flatMap((of) => {
      const { verdict, time } = checks[of]!;
      if (verdict !== 'failed' || !isOfCoefficients(of)) return [];
      return {
        rule: 'failed check' as const,
        because: 'a check in the field was not passed',
        evidence: `${CHECK_NAMES[of]}: it was found out of what is allowed.`,
        when: time,
      };
    })
    .sort((a, b) => Date.parse(b.when) - Date.parse(a.when))
    .slice(0, 1);
}

const REMARKS = {
  knocked: { rule: 'knock', because: 'it was knocked or dropped' },
  'battery changed': { rule: 'battery', because: 'its battery was changed' },
} as const;

/** The newest of each kind, the knock first. */
function remarkReasons({ remarks }: Since, made: string): Reason[] {
  const dated = remarks
    .map((remark) => ({ ...remark, when: remark.on ?? remark.time }))
    .filter(({ when, time }) => isSince(when, time, made));
  return (['knocked', 'battery changed'] as const).flatMap((kind) => {
    const newest = dated
      .filter((remark) => remark.kind === kind)
      .reduce<(typeof dated)[number] | undefined>(
        (a, b) => (a && Date.parse(a.when) > Date.parse(b.when) ? a : b),
        undefined,
      );
    if (!newest) return [];
    const { text, when } = newest;
    const evidence = text === undefined ? 'It is written down in the logbook.' : `“${text}”`;
    return [{ ...REMARKS[kind], evidence, when }];
  });
}

/** Of a day there is no telling what came first: then it counts if it was written down afterwards. */
function isSince(when: string, written: string, made: string): boolean {
  if (!isDay(when)) return Date.parse(when) > Date.parse(made);
  const day = dayOf(new Date(made));
  return when === day ? Date.parse(written) > Date.parse(made) : when > day;
}

function firmwareReason({ firmware }: Since, made: string | undefined): Reason[] {
  if (!firmware || made === undefined || firmware.version === made) return [];
  return [
    {
      rule: 'firmware',
      because: 'its firmware was changed',
      evidence: `It ran firmware ${made} when its coefficients were made, and runs ${firmware.version}.`,
      when: firmware.time,
    },
  ];
}

function temperatureReason(
  { coldest, warmest }: Since,
  made: Made['temperature'],
  degrees: number,
): Reason[] {
  if (!made) return [];
  const span = `It was calibrated at ${celsiusWords(made)}`;
  const reason = (which: 'colder' | 'warmer', { celsius, time }: NonNullable<Since['coldest']>) => {
    const by = which === 'colder' ? made.coldest - celsius : celsius - made.warmest;
    return {
      by,
      reason: {
        rule: 'temperature' as const,
        because: `it is used ${which} than it was calibrated`,
        evidence: `${span}; a reading was taken at ${celsiusWords({ coldest: celsius, warmest: celsius })}.`,
        when: time,
      },
    };
  };
  return [
    ...(coldest ? [reason('colder', coldest)] : []),
    ...(warmest ? [reason('warmer', warmest)] : []),
  ]
    .filter(({ by }) => by > degrees)
    .sort((a, b) => b.by - a.by)
    .slice(0, 1)
    .map(({ reason }) => reason);
}

function celsiusWords({ coldest, warmest }: NonNullable<Made['temperature']>): string {
  const [from, to] = [coldest, warmest].map((value) => String(Math.round(value)).replace('-', '−'));
  return from === to ? `${from} °C` : `${from} to ${to} °C`;
}

// In words

/** When, and for what reason, in one short line. */
export function againLine(again: WhenAgain): string {
  const [{ because } = { because: '' }, ...more] = again.reasons;
  switch (again.verdict) {
    case 'no coefficients':
      return 'Not calibrated yet';
    case 'not yet':
      return `No need yet: calibrate again by ${dayWords(again.by)}`;
    case 'soon':
      return `Calibrate again by ${dayWords(again.by)}, because ${because}`;
    case 'now':
      return `Calibrate again, because ${because}${moreWords(more.length)}`;
  }
}

const moreWords = (more: number): string =>
  more === 0 ? '' : more === 1 ? ', and for one more reason' : `, and for ${more} more reasons`;

/** How a verdict stands, for its mark. */
export const againStanding = ({ verdict }: WhenAgain): 'good' | 'watch' | 'ahead' =>
  verdict === 'no coefficients' ? 'ahead' : verdict === 'not yet' ? 'good' : 'watch';

/** What was kept of thresholds, as far as it makes sense; the rest is ordinary. */
export function thresholdsFrom(kept: unknown): Thresholds {
  const given = typeof kept === 'object' && kept !== null ? (kept as Record<string, unknown>) : {};
  const of = (name: keyof Thresholds): number => {
    const value = given[name];
    const [from, to] = THRESHOLD_LIMITS[name];
    return typeof value === 'number' && value >= from && value <= to
      ? value
      : ORDINARY_THRESHOLDS[name];
  };
  return { months: of('months'), degrees: of('degrees') };
}
