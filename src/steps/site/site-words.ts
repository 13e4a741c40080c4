import { degrees, radians } from '../../calib/geometry.ts';
import type { ProofFigure, SiteCheckRecord } from '../../records/entries.ts';
import { degreesText, type Finding, type Standing } from '../finding.ts';
import type { EarthField, GeoPlace } from './earth-field.ts';

/** A site and its checks, in words. */

const STANDINGS: Record<SiteCheckRecord['verdict'], Standing> = {
  clean: 'good',
  disturbed: 'bad',
  'nothing found': 'watch',
  open: 'watch',
};

export interface SiteVerdict {
  standing: Standing;
  heading: string;
  /** What it means, and what to do. */
  words: string;
}

/** What came of a check. */
export function siteVerdict({
  verdict,
  spots,
  through,
  expected,
  figures,
}: SiteCheckRecord): SiteVerdict {
  const standing = STANDINGS[verdict];
  switch (verdict) {
    case 'clean':
      return {
        standing,
        heading: 'Clean, as far as dip and length can tell',
        words:
          'The field is steady, is the same at both spots, and has the dip that is to be expected. Take the readings here.',
      };
    case 'nothing found':
      return {
        standing,
        heading: 'Nothing found, which does not say much',
        words: through
          ? 'The field is steady and the same at both spots. Whether it is that of the earth was not told: keep the place, then take both spots again.'
          : 'The field is steady and the same at both spots; a board with no calibration cannot tell more. Choose the place with care, and check it again once the board is calibrated.',
      };
    case 'open':
      return {
        standing,
        heading:
          spots.length < 2 ? 'Steady here; now a metre on' : 'The second spot was not compared',
        words:
          spots.length < 2
            ? 'Steel beside the board is as steady as the earth. Walk a metre, straight towards what you aim at, hold the board as before, and take the second spot: steel near by shows as a change.'
            : 'The board was held otherwise there. Take the second spot again, held as at the first.',
      };
    case 'disturbed':
      return {
        standing,
        heading: 'Something is there',
        words: causeWords(figures, expected !== undefined),
      };
  }
}

/** What the figures that are off speak of, most telling first. */
function causeWords(figures: readonly ProofFigure[], isExpected: boolean): string {
  const off = (part: string) => figures.some(({ name, good }) => !good && name.startsWith(part));
  if (off('scatter')) {
    return 'The field comes and goes: a current in a cable, a lift, a car, something in the hand that holds the board. Find it or leave it, and take both spots again.';
  }
  if (off('change of the field’s direction')) {
    return 'The field in the board changes over a metre: steel or a magnet is near one of the spots, or the board was turned in between. Aim at the same far mark from both spots; if it changes again, move away from what is there.';
  }
  if (off('change')) {
    return 'The field changes over a metre: steel or a magnet is near one of the spots. Move it or move away from it, and take both spots again.';
  }
  const both = isExpected && figures.some(({ name }) => name.startsWith('change'));
  return both
    ? 'The field is the same at both spots, but not the one that the model expects. Either something large is there (a building, a hall, magnetic rock), or the coefficients do not hold any more (a change of battery, a knock), or the place that is kept is another. Walk fifty metres and check again: if it is off as much there, calibrate anew.'
    : 'The field is not the one that the model expects. Take the second spot, a metre on: where the figures change, something is near by; where they do not, it is something large, coefficients that do not hold any more, or another place than the one that is kept.';
}

/** A figure for the screen. */
export function siteFigure({ name, value, limit, unit, n, good }: ProofFigure): Finding {
  const text = (figure: number) =>
    `${figure.toFixed(2).replace('-', '−')}${unit === '%' ? ' %' : unit}`;
  return {
    name: name[0]!.toUpperCase() + name.slice(1),
    figure: text(value),
    words: `over ${n} readings${limit === undefined ? '' : `; normal up to ${text(limit)} either way`}`,
    standing: good ? 'good' : 'bad',
  };
}

export const placeWords = ({ latitude, longitude, height }: GeoPlace): string =>
  `${plain(latitude)}° ${latitude < 0 ? 'south' : 'north'}, ${plain(longitude)}° ${longitude < 0 ? 'west' : 'east'}, ${height.toFixed(0)} m`;

const plain = (angle: number): string => String(Number(Math.abs(angle).toFixed(4)));

/** The field to expect, with what is normal around it. */
export function expectedWords({
  declination,
  dip,
  strength,
  standardErrors,
}: EarthField): Omit<Finding, 'standing'>[] {
  const twice = (error: number) => degreesText(2 * degrees(error), 1);
  return [
    {
      name: 'Dip',
      figure: `${degreesText(Math.abs(degrees(dip)), 1)} ${dip < 0 ? 'up' : 'down'}`,
      words: `within ${twice(standardErrors.dip)} at nineteen quiet places of twenty`,
    },
    {
      name: 'Strength',
      figure: `${(Math.round(strength / 10) * 10).toLocaleString('en')} nT`,
      words: `within ${(2 * standardErrors.strength).toFixed(0)} nT`,
    },
    {
      name: 'Declination',
      figure: `${degreesText(Math.abs(degrees(declination)), 1)} ${declination < 0 ? 'west' : 'east'}`,
      words: `of true north; within ${twice(standardErrors.declination)}`,
    },
  ];
}

/** What it says where the model does not cover the day; nothing where it does. */
export const runOut = ({ valid, model, covers }: EarthField): string | undefined =>
  valid
    ? undefined
    : `The model ${model} covers ${covers.from} to the end of ${covers.until - 1}, and not today. These figures go on from there and drift off, by about a tenth of a degree and a fifth of a per cent a year. All else works. Newer coefficients can be taken from a file, below.`;

/** What to move away from the board, or the board from; common practice in the trade, no published source. */
export const CULPRITS: readonly { where: string; what: readonly string[] }[] = [
  {
    where: 'On you',
    what: [
      'phone, watch, keys, knife, belt buckle',
      'spectacles with steel in them, hearing aids, earphones',
      'head torch, helmet with steel parts, spare batteries',
      'boots with steel caps, anything that closes with a magnet',
    ],
  },
  {
    where: 'Around the board',
    what: [
      'this computer, its charger and its cables; loudspeakers',
      'tools, screws, tins, a tripod or table with steel in it',
      'other boards, battery packs, motors, anything with a magnet',
    ],
  },
  {
    where: 'Around you',
    what: [
      'cars, bicycles, fences, rails, manhole covers',
      'buildings, concrete with steel in it, pipes under the ground',
      'power lines, cables that carry a current',
      'dark volcanic rock, old ovens and brick kilns, places struck by lightning',
    ],
  },
];

/** Which way the field dips where the bench stands; nothing where that is not known, or too near to level to be sure. */
export function dipWords(expected: EarthField | undefined): string | undefined {
  if (!expected || Math.abs(expected.dip) < radians(5)) return undefined;
  const angle = degreesText(Math.abs(degrees(expected.dip)), 0);
  return `Where the bench stands it dips ${expected.dip < 0 ? 'up' : 'down'}, by ${angle} (${expected.model}). If the readings were taken there, choose that.`;
}
