import type {
  AdjustedInstrument,
  Angle,
  Blunder,
  ConstantTest,
  CourseAdjustment,
  CourseRefusal,
  CourseTerms,
  HeldAgainst,
  Unsettled,
  Way,
} from '../../calib/check-course.ts';
import { degrees } from '../../calib/geometry.ts';
import type { InstrumentStanding } from '../../records/course-notes.ts';

/** What a settled check course says, in sentences. */

const ANGLES: Readonly<Record<Angle, string>> = {
  azimuth: 'azimuths',
  inclination: 'inclinations',
};
const BOTH: readonly Angle[] = ['azimuth', 'inclination'];

const size = (radians: number): string => `${Math.abs(degrees(radians)).toFixed(2)}°`;

/** What is said of an instrument in one sentence. */
export function standingWords(standing: InstrumentStanding, of: AdjustedInstrument): string {
  switch (standing) {
    case 'within':
      return 'Within what is allowed, as far as this course can see.';
    case 'off': {
      const parts = BOTH.flatMap((angle) => {
        const { constant } = of.tests[angle];
        return constant.verdict === 'off' && constant.value ? [offWords(angle, constant)] : [];
      });
      return `Off: ${parts.join('; ')}.`;
    }
    case 'scatters': {
      const parts = BOTH.flatMap((angle) => {
        const { scatter } = of.tests[angle];
        return scatter.verdict === 'too noisy' && scatter.sigma !== undefined
          ? [
              `its ${ANGLES[angle]} scatter by ${size(scatter.sigma)} a shot, more than chance lets others differ from it`,
            ]
          : [];
      });
      return `Too unsteady: ${parts.join('; ')}.`;
    }
    case 'not settled': {
      if (of.reversed) return REVERSED[of.reversed];
      return isAlike(of)
        ? 'Agrees with the others; whether all of them are right, this course cannot tell.'
        : 'Not settled: it may be right or off.';
    }
  }
}

const REVERSED: Readonly<Record<NonNullable<AdjustedInstrument['reversed']>, string>> = {
  'sign changed':
    'Its inclinations have the wrong sign throughout, up for down; the others are settled as if that were put right. Put it right in its shots, and settle again.',
  'other way':
    'All its shots fit as if each was taken from the other end of its leg: from and to are changed, or it shows backwards. The others are settled as if that were put right. Put it right in its shots, and settle again.',
};

/** Whether nothing is open but whether all instruments are right. */
const isAlike = ({ tests }: AdjustedInstrument): boolean =>
  BOTH.map((angle) => tests[angle].constant)
    .filter(({ verdict }) => verdict === 'not settled')
    .every(({ why }) => why === 'others alone' || why === 'no shots');

/** How far off an instrument is, with its interval. */
function offWords(angle: Angle, { value, against, surelyBeyond }: ConstantTest): string {
  if (!value) return '';
  const much =
    angle === 'azimuth'
      ? value.value < 0
        ? 'too little'
        : 'too much'
      : value.value < 0
        ? 'too low'
        : 'too high';
  const beside = against === 'others' ? ', against the other instruments' : '';
  const surely = surelyBeyond ? ', all of it beyond what is allowed' : '';
  return `its ${ANGLES[angle]} show ${size(value.value)} ±\u00a0${size(value.half)} ${much}${beside}${surely}`;
}

const WHY: Readonly<Record<Unsettled, (angle: string) => string>> = {
  'no shots': (angle) => `It has no ${angle}.`,
  'interval too wide': (angle) =>
    `The interval of its ${angle} reaches to both sides of what is allowed: more shots would settle it.`,
  'not determined': (angle) =>
    `Nothing tells its ${angle}: it has no leg in common with what is known, or with other instruments.`,
  'others alone': (angle) =>
    `Its ${angle} agree with the others; but nothing was said to be right, so all may be off alike.`,
  'no majority': (angle) =>
    `In ${angle} the instruments fall into parties, and nothing says which is right.`,
  'datum disagrees': (angle) =>
    `Its ${angle} agree with the others; but what was said to be known does not fit, so that nothing is held against it.`,
  'noise assumed': (angle) =>
    `No shot checks another in ${angle}: its interval is only what is usual by hand, and one wrong shot would not show. More shots would settle it.`,
  'outside reference': (angle) =>
    `Its ${angle}, or those it is held against, were shot when the reference was not, so a turn of the field may be in them: have the reference shoot at the beginning and at the end.`,
};

/**
 * What else there is to say of an instrument, a sentence each.
 *
 * @param steep how many of its shots are too steep for their azimuth to count
 */
export function constantWords(of: AdjustedInstrument, steep: number): string[] {
  if (of.reversed) return [];
  const why = BOTH.flatMap((angle) => {
    const { constant } = of.tests[angle];
    if (angle === 'azimuth' && constant.why === 'no shots' && steep > 0) {
      return ['All its shots are too steep for their azimuth to count.'];
    }
    const isSaid = constant.why === 'others alone' && of.verdict === 'not settled' && isAlike(of);
    return constant.verdict === 'not settled' && constant.why && !isSaid
      ? [WHY[constant.why](ANGLES[angle])]
      : [];
  });
  const { blunders } = of;
  if (blunders === 0) return why;
  const these = blunders === 1 ? 'One of its shots looks' : `${blunders} of its shots look`;
  return [...why, `${these} wrong; see below.`];
}

/** What speaks against one shot: each angle that does, and what it would fit instead. */
export function blunderWords(
  blunders: readonly Blunder[],
  lineOf: (leg: string, way: Way) => string,
): string {
  const off = blunders.map(
    ({ angle, residual, standardised }) =>
      `${angle} ${size(residual)} ${residual < 0 ? 'below' : 'above'} what all the others say, ${Math.abs(standardised).toFixed(0)} times what chance brings`,
  );
  const fits = blunders.find((each) => each.fits)?.fits;
  return `${off.join('; ')}.${fits ? ` It would fit ${fitWords(fits, lineOf)}.` : ''}`;
}

function fitWords(
  fits: NonNullable<Blunder['fits']>,
  lineOf: (leg: string, way: Way) => string,
): string {
  switch (fits.as) {
    case 'other way':
      return 'the same leg shot the other way';
    case 'sign changed':
      return 'with the other sign of its inclination';
    case 'other leg':
      return lineOf(fits.leg, fits.way);
  }
}

export const refusalWords = ({ message, next }: CourseRefusal): string => `${message} ${next}`;

const ALONE: Readonly<Record<'legs' | 'constants' | 'constant' | 'disturbances', string>> = {
  legs: 'Azimuths of legs are told only as differences from each other.',
  constants: 'How far an instrument’s azimuths are off is told only against the other instruments.',
  constant: 'How far its azimuths are off is not told: there is no other instrument beside it.',
  disturbances: 'Disturbances of stations are told only as differences from each other.',
};

/** What the shots do not determine, and what would. */
export function undeterminedWords(
  { legs, instruments, stations, shots, inclination, warnings }: CourseAdjustment,
  terms: CourseTerms,
  { withoutDeclination }: { withoutDeclination: boolean },
): string[] {
  const isOpen = instruments.some(({ constant }) => !constant.determined);
  const open = {
    legs: legs.some(({ azimuth, shots }) => shots > 0 && !azimuth.determined),
    constants: isOpen && instruments.length > 1,
    constant: isOpen && instruments.length === 1,
    disturbances: stations.some(({ disturbance }) => !disturbance.determined),
  };
  const said = (Object.keys(ALONE) as (keyof typeof ALONE)[]).filter((what) => open[what]);
  const hasBearing =
    terms.legs?.some(({ azimuth }) => azimuth) === true ||
    terms.instruments?.some(({ azimuth }) => azimuth) === true;
  const wanted = [
    ...(hasBearing ? [] : ['a known bearing of a leg, or an instrument that is taken as right']),
    ...(terms.disturbances
      ? []
      : ['a clean station, or that the disturbances are nothing on the whole']),
  ];
  const isInDoubt = warnings.includes('known disagrees');
  const steep = shots.filter((shot) => shot.steep).length;
  const none = legs.filter(({ shots }) => shots === 0).length;
  return [
    ...said.map((what) => ALONE[what]),
    ...(said.length > 0 && wanted.length > 0
      ? [`What would settle that: ${wanted.join('; and ')}.`]
      : []),
    ...(said.length > 0 && wanted.length === 0 && !isInDoubt
      ? ['Not all legs hang together by shots from both ends: shoot every leg fore and back.']
      : []),
    ...(inclination.shots > 0 && instruments.some(({ index }) => !index.determined)
      ? ['Inclinations are told only as differences: shoot at least one leg both fore and back.']
      : []),
    ...(steep > 0
      ? [
          steep === 1
            ? 'One shot is too steep for its azimuth to count.'
            : `${steep} shots are too steep for their azimuth to count.`,
        ]
      : []),
    ...(none > 0 ? [none === 1 ? 'One leg has no shot.' : `${none} legs have no shot.`] : []),
    ...(withoutDeclination
      ? [
          'Bearings from true or grid north were not used: say where the course lies, so that the declination of the day is known.',
        ]
      : []),
  ];
}

/** What was said to be known beforehand. */
const KNOWN: Readonly<
  Record<
    HeldAgainst['what'],
    (
      nameOf: Record<'leg' | 'instrument', (name: string) => string>,
      name: string,
      angle: Angle,
    ) => string
  >
> = {
  leg: (nameOf, name, angle) => `The ${angle} said of the leg ${nameOf.leg(name)}`,
  instrument: (nameOf, name, angle) =>
    `That ${nameOf.instrument(name)} is right in ${ANGLES[angle]}`,
  station: (_, name) => `That the field is not turned at ${name}`,
  stations: () => 'That the disturbances are nothing on the mean',
};

/** What speaks against relying on it, a sentence each. */
export function warningWords(
  { warnings, known, azimuth, inclination }: CourseAdjustment,
  { nameOfKey, legName }: { nameOfKey(key: string): string; legName(id: string): string },
): string[] {
  const said = warnings.flatMap((warning) => {
    switch (warning) {
      case 'all off alike':
        return [
          'All instruments are off alike: look first at what was said to be known, the bearing, the declination or the clean station.',
        ];
      case 'known disagrees':
        return known
          .filter(({ p }) => p !== undefined && p <= 0.05)
          .map(
            ({ what, name, angle, away = 0 }) =>
              `${KNOWN[what]({ leg: legName, instrument: nameOfKey }, name, angle)} does not fit: all else puts it ${size(away)} away.`,
          );
      case 'not converged':
        return [
          'The weights of the shots did not settle: a few more shots of each leg would help.',
        ];
      case 'times missing':
        return [
          'Some shots have no time, so the change of the field through the day is not taken off them.',
        ];
      case 'reference too short':
        return [
          'The reference instrument has too few shots with a time through the day to tell how the field changed.',
        ];
      case 'others outside reference':
        return [
          'Others were shot before the reference began or after it ended: how the field turned then is not told, and theirs may be off by that. Have the reference shoot at the beginning and at the end.',
        ];
    }
  });
  const noisy = (
    [
      ['azimuth', azimuth],
      ['inclination', inclination],
    ] as const
  ).flatMap(([angle, { global, noise }]) =>
    global.verdict === 'noisier'
      ? [
          `Shots scatter by ${size(noise)} of ${angle}, more than is usual (0.3°): aim, wind, or a mark that is too near.`,
        ]
      : [],
  );
  return [...said, ...noisy];
}

/** Shots whose error would hardly show in their own residual. */
const UNCHECKED = 0.1;

/** What this course cannot see. */
export function blindToOf({ shots, drift }: CourseAdjustment, terms: CourseTerms): string[] {
  const isKnown = terms.legs?.some(({ azimuth }) => azimuth) === true;
  const unchecked = shots.filter(({ azimuth, inclination }) =>
    [azimuth, inclination].some((each) => each && each.redundancy < UNCHECKED),
  ).length;
  return [
    ...(isKnown ? [] : ['What all instruments share, such as a lamp that everyone wears.']),
    ...(drift === undefined || drift.verdict === 'cannot tell'
      ? [
          'A field that turned through the day: where instruments shot one after another, it counts as the later ones’ own. A reference that shoots from beginning to end tells it.',
        ]
      : []),
    'What changes with direction or with roll: it shows as scatter here. Four rolls and a closed loop see it.',
    'Iron so near a station that the field differs within a step: there every instrument is disturbed in its own way.',
    ...(unchecked > 0
      ? [
          `${unchecked === 1 ? 'One shot is' : `${unchecked} shots are`} checked by hardly any other: a blunder in ${unchecked === 1 ? 'it' : 'them'} would not show.`,
        ]
      : []),
  ];
}
