import { angleBetween, degrees, length, plus, times } from '../../calib/geometry.ts';
import { applyCoefficients, type Coefficients } from '../../calib/model.ts';
import type { BoardIdentity } from '../../protocol/board.ts';
import type { SensedReading } from '../../protocol/messages.ts';
import type { ProofFigure, SiteCheckRecord, SiteSpot } from '../../records/entries.ts';
import { meanAndDeviation } from '../statistics.ts';
import type { EarthField } from './earth-field.ts';

/**
 * Whether a site is clean, from readings of a board held still at one spot, and at another some steps on.
 *
 * Through coefficients, dip is absolute: it is the angle between down and field, which every calibration gets right
 * whatever the strength was where it was made. Length is not: it is one there, so it tells strength only where that
 * place is known. Without coefficients the offset of the magnetometer is in every length, so that it changes with
 * attitude more than most steel changes it, and only what changes at the same attitude can be told.
 */

/**
 * What figures are held against. None is published; each has its reason. Where the dip is 65° the level part of the field
 * is 0.42 of it, so that 0.5 % of the field, level and square to it, turns an azimuth by 0.7°.
 */
export const SITE_LIMITS = {
  /**
   * Scatter of the length of the field: an ordinary board has 0.2 % of noise. More than twice that comes and goes: a
   * current, a lift, a car.
   */
  scatter: 0.005,
  /** Scatter of the dip, degrees: much the same, square to the field; a board that is held has some more of it. */
  dipScatter: 0.5,
  /**
   * Change of the length over a metre: it may turn an azimuth by 1.4°, and by a third of that over the third of a metre
   * that a hand moves an instrument about.
   */
  change: 0.01,
  /** Change of the dip over a metre, degrees: the same, square to the field. */
  dipChange: 0.5,
  /**
   * Dip against the model, degrees: its standard error is 0.2° (WMM2025 technical report, at second hand), the rest is
   * for the noise of the board and of its calibration.
   */
  dip: 1,
  /**
   * Strength against the model: its standard error is 138 nT (the same report), some 0.3 % at either place; and a
   * magnetometer changes its gain by about 0.1 % per degree Celsius (from memory), so that ten of them make 1 %.
   */
  strength: 0.02,
  /**
   * Change of raw length from spot to spot, attitudes being alike within {@link SITE_LIMITS.turned}: an offset of three
   * tenths of the field (common for a magnetometer beside solder and steel, no source) makes up to 2.6 % of it when
   * turned by 5°.
   */
  rawChange: 0.04,
  /**
   * Change of the raw field itself, length and direction, aimed at the same far mark from both spots: turned by 5° the
   * field seems to change by 9 %.
   */
  rawTurn: 0.1,
  /** How far down may have turned in the board between two spots, degrees, for raw lengths to be compared. */
  turned: 5,
  /**
   * How far from one the length of gravity may be through coefficients that belong to the board: a calibration that is
   * accepted holds it within 0.5 %.
   */
  gravity: 0.02,
} as const;

/**
 * By how much the limits against a model grow for every year that it does not cover: the field of most places changes
 * by less than that in a year, and the model has the greater part of the change.
 */
const PER_YEAR = { dip: 0.1, strength: 0.002 };
/** Scatter is held against the declared noise, too: eight readings exceed twice that three times in ten thousand. */
const TIMES_NOISE = 2;
/** Standard errors by which chance alone parts two means once in some ten thousand comparisons. */
const CHANCE = 4;

/** Noise of a reading, as a part of gravity and of the field. */
interface Noise {
  acc: number;
  mag: number;
}

export const noiseOf = ({ accNoise, accScale, magNoise, magScale }: BoardIdentity): Noise => ({
  acc: accNoise / accScale,
  mag: magNoise / magScale,
});

/** Whether coefficients make gravity one, as they do on the board that they were made for, held still. */
export function fits(readings: readonly SensedReading[], coefficients: Coefficients): boolean {
  const lengths = readings.map(({ acc, mag }) => applyCoefficients(coefficients, acc, mag).gravity);
  return Math.abs(meanAndDeviation(lengths).mean - 1) <= SITE_LIMITS.gravity;
}

/**
 * What readings at one spot come to.
 *
 * @param coefficients to see them through; absent where they are to be taken raw
 * @param moved how many more readings were left out
 */
export function spotOf(
  readings: readonly SensedReading[],
  { accScale, magScale }: Pick<BoardIdentity, 'accScale' | 'magScale'>,
  coefficients: Coefficients | undefined,
  about: Pick<SiteSpot, 'time' | 'moved'>,
): SiteSpot {
  const seen =
    coefficients && readings.map(({ acc, mag }) => applyCoefficients(coefficients, acc, mag));
  const field = seen
    ? seen.map((each) => each.field)
    : readings.map(({ mag }) => length(mag) / magScale);
  const dips = seen?.flatMap(({ dip }) => dip ?? []);
  const meanOf = (chip: 'acc' | 'mag', scale: number) =>
    ([0, 1, 2] as const).map(
      (axis) => readings.reduce((sum, each) => sum + each[chip][axis] / scale, 0) / readings.length,
    ) as [number, number, number];
  const down = meanOf('acc', accScale);
  return {
    ...about,
    n: readings.length,
    field: meanAndDeviation(field),
    ...(dips && dips.length > 0 && { dip: meanAndDeviation(dips) }),
    down: times(down, 1 / (length(down) || 1)),
    raw: meanOf('mag', magScale),
  };
}

/** What is known beside the readings. */
export interface SiteTerms {
  noise: Noise;
  /** Of the place and the day; absent where the place is not known. */
  expected?: EarthField;
  /** Decimal years by which the day is out of the model, where it is. */
  yearsOut?: number;
  /** Strength by the model where the coefficients were made, nT; absent where that is not known. */
  madeIn?: number;
  /** The board runs coefficients that do not fit it. */
  unfit?: boolean;
}

/**
 * Judges one spot, or two.
 *
 * @param spots all seen through the same coefficients, or all raw
 */
export function judgeSite(
  spots: readonly SiteSpot[],
  terms: SiteTerms,
): Pick<SiteCheckRecord, 'figures' | 'verdict' | 'blindTo'> {
  const { noise, expected, yearsOut = 0, madeIn } = terms;
  const [first, second] = spots;
  const isRaw = spots.every(({ dip }) => dip === undefined);
  const figures: ProofFigure[] = [];
  const add = (name: string, value: number, limit: number, unit: '°' | '%', n: number) => {
    figures.push({ name, value, limit, unit, n, good: Math.abs(value) <= limit });
  };
  const dipNoise = degrees(Math.hypot(noise.acc, noise.mag));
  for (const [i, { n, field, dip }] of spots.entries()) {
    const where = PLACE_WORDS[i]!;
    const scatter = Math.max(SITE_LIMITS.scatter, TIMES_NOISE * noise.mag);
    add(
      `scatter of the field’s length ${where}`,
      100 * part(field.sd, field.mean),
      100 * scatter,
      '%',
      n,
    );
    if (!dip) continue;
    const dipScatter = Math.max(SITE_LIMITS.dipScatter, TIMES_NOISE * dipNoise);
    add(`scatter of the dip ${where}`, degrees(dip.sd), dipScatter, '°', n);
    if (!expected) continue;
    const offBy = degrees(dip.mean - expected.dip);
    add(
      `dip ${where} less that of the model`,
      offBy,
      SITE_LIMITS.dip + yearsOut * PER_YEAR.dip,
      '°',
      n,
    );
    if (madeIn === undefined) continue;
    const strength = (field.mean * madeIn) / expected.strength - 1;
    const most = SITE_LIMITS.strength + yearsOut * PER_YEAR.strength;
    add(`strength ${where} against that of the model`, 100 * strength, 100 * most, '%', n);
  }
  const turned = first && second ? degrees(angleBetween(first.down, second.down)) : 0;
  const isComparable = !isRaw || turned <= SITE_LIMITS.turned;
  if (first && second && isComparable) {
    const n = first.n + second.n;
    const error = Math.sqrt(1 / first.n + 1 / second.n);
    const least = isRaw ? SITE_LIMITS.rawChange : SITE_LIMITS.change;
    const most = Math.max(least, CHANCE * noise.mag * error);
    const change = part(second.field.mean - first.field.mean, first.field.mean);
    add('change of the field’s length from spot to spot', 100 * change, 100 * most, '%', n);
    if (isRaw) {
      const whole = part(length(plus(second.raw, times(first.raw, -1))), first.field.mean);
      const mostTurn = Math.max(SITE_LIMITS.rawTurn, most);
      add(
        'change of the field’s direction and length from spot to spot',
        100 * whole,
        100 * mostTurn,
        '%',
        n,
      );
    }
    if (first.dip && second.dip) {
      const mostDip = Math.max(SITE_LIMITS.dipChange, CHANCE * dipNoise * error);
      const changed = degrees(second.dip.mean - first.dip.mean);
      add('change of the dip from spot to spot', changed, mostDip, '°', n);
    }
  }
  const isWhole = second !== undefined && isComparable;
  return {
    figures,
    verdict: figures.some(({ good }) => !good)
      ? 'disturbed'
      : !isWhole
        ? 'open'
        : !isRaw && expected
          ? 'clean'
          : 'nothing found',
    blindTo: [
      ...(terms.unfit ? [UNFIT] : []),
      ...(isRaw ? [RAW] : []),
      ...(isRaw && second && !isComparable ? [turnedWords(turned)] : []),
      ...(!isRaw && !expected ? [NO_PLACE] : []),
      ...(!isRaw && expected && yearsOut > 0 ? [runOutWords(expected)] : []),
      ...(!isRaw && madeIn === undefined ? [RELATIVE] : []),
      ...(!isRaw && expected ? [LARGE] : []),
      SQUARE,
    ],
  };
}

/** A part of a length; all of it where there is no length, as of a magnetometer that is dead: no figure is normal then. */
const part = (value: number, of: number): number => (of === 0 ? 1 : value / of);

const PLACE_WORDS = ['here', 'at the second spot'] as const;

const UNFIT =
  'The coefficients that the board runs do not make gravity one, so they are not for this board as it is now. Its readings were taken raw.';
const RAW =
  'The board is not calibrated. Raw lengths of the field vary with attitude by more than most steel near by would change them, so neither dip nor strength can be told: only whether the field is steady, and whether it stays the same a metre on at the same attitude, aimed at the same far mark. A turn of the board by more than 5° looks like steel. Check the site again once the board is calibrated.';
const NO_PLACE = 'Where the bench stands is not known, so the dip was held against nothing.';
const RELATIVE =
  'The length of the field is relative to the calibration: it is one where that was made. Where that was, no check of the site in the logbook says, so the strength in nT cannot be told, and a length other than one may mean steel or only another part of the world. Check the site, with its place kept, before a calibration, and it can be told afterwards.';
const LARGE =
  'What is the same over the whole place, as a hall of steel or rock that is magnetic, changes nothing from spot to spot. It shows against the model alone, and the model knows no rock of a few kilometres.';
const SQUARE =
  'A disturbance that is level and square to the field turns the azimuth and hardly changes dip or length: 1 % of the field does so by 1.4° where the dip is 65°. Only a line of known bearing, or readings all round, show that.';
const turnedWords = (turned: number): string =>
  `At the second spot the board was held otherwise, by ${turned.toFixed(0)}°, so its raw lengths were not compared. Take the second spot again, held as at the first within ${SITE_LIMITS.turned}°.`;
const runOutWords = ({ model, covers }: EarthField): string =>
  `The model (${model}) covers ${covers.from} to the end of ${covers.until - 1}, and not today: it may be further off, and more was allowed for it. Take newer coefficients from a file.`;
