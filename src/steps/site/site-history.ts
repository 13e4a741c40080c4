import type { Entry, SiteCheckRecord } from '../../records/entries.ts';
import { without } from '../copy-without.ts';

/** What is so with the site of a board, folded from its entries. */
export interface SiteHistory {
  /** The newest check of a site, and when it was written. */
  newest?: SiteCheckRecord & { time: string };
  /** The newest check when the last reading for the fit of that calibration was taken, if there was any. */
  atLastReading?: { calibration: string; check?: SiteHistory['newest'] };
  /** Strength of the field by the model, nT, where the coefficients with that CRC were made. */
  madeIn?: { crc: string; strength: number };
}

export const NO_SITE: SiteHistory = {};

/**
 * A check of the site counts for a calibration that is begun as long after it, milliseconds: in a day's work; and until the
 * last of its readings for the fit. It may be sealed days later, and elsewhere.
 */
export const FOR_A_CALIBRATION = 12 * 3_600_000;

/**
 * What is so after one more entry.
 *
 * @param calibration the one under way, if any: when it began, and whether its readings are of its own
 */
export function afterSite(
  site: SiteHistory,
  entry: Entry,
  calibration: { id: string; started: string; chosen?: unknown } | undefined,
): SiteHistory {
  if (entry.kind === 'site checked') {
    return { ...site, newest: without(entry, 'kind', 'board', 'calibration') };
  }
  if (calibration === undefined || calibration.id !== entry.calibration) return site;
  if (entry.kind === 'reading') {
    const { newest: check } = site;
    return { ...site, atLastReading: { calibration: calibration.id, ...(check && { check }) } };
  }
  // a set of the logbook was made some other day, maybe elsewhere
  if (entry.kind !== 'sealed' || calibration.chosen) return site;
  const { atLastReading } = site;
  const check = atLastReading?.calibration === calibration.id ? atLastReading.check : undefined;
  const isOfThatDay =
    check !== undefined &&
    check.verdict !== 'disturbed' &&
    Date.parse(check.time) >= Date.parse(calibration.started) - FOR_A_CALIBRATION;
  const strength = isOfThatDay ? check.expected?.strength : undefined;
  return {
    ...without(site, 'madeIn'),
    ...(strength !== undefined && { madeIn: { crc: entry.crc, strength } }),
  };
}
