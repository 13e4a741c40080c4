import * as v from 'valibot';
import { CARE_LIMITS } from '../protocol/care-messages.ts';
import type { CoefficientSet } from '../protocol/coefficient-set.ts';
import { LIMITS, setCrc } from '../protocol/messages.ts';
import type { Entry, EntryKind, EntryOf } from './entries.ts';

/**
 * What an entry of each kind must be to be taken in from a file: every field named and checked, every text, list and
 * number capped, and nothing beside. An entry that was written here passes and comes out as it was.
 */

const finite = v.pipe(v.number('it must be a number'), v.finite('it must be a finite number'));
export const number = (least: number, most: number) =>
  v.pipe(
    finite,
    v.minValue(least, `it must be ${least} at least`),
    v.maxValue(most, `it must be ${most} at most`),
  );
export const whole = (most: number, least = 0) =>
  v.pipe(number(least, most), v.integer('it must be a whole number'));
/** Half a character (a lone surrogate) is refused: no address can be made of it, and no file has it. */
export const text = (most: number, least = 0) =>
  v.pipe(
    v.string('it must be a text'),
    v.minLength(least, 'it must not be empty'),
    v.maxLength(most, `it must have ${most} characters at most`),
    v.check((given) => given.isWellFormed(), 'it must have whole characters only'),
  );
const pattern = (expression: RegExp, what: string) =>
  v.pipe(v.string('it must be a text'), v.regex(expression, `it must be ${what}`));
type LengthCheck = v.GenericValidation<unknown[], unknown[], v.BaseIssue<unknown>>;
/** Looks at the length of a list before its items: one far too long would have an issue for each of them. */
const lengthFirst = <S extends v.GenericSchema>(schema: S, check: LengthCheck): S => ({
  ...schema,
  '~run'(dataset, config) {
    const { value } = dataset;
    const looked = Array.isArray(value) && check['~run']({ typed: true, value }, config);
    if (!looked || !looked.issues) return schema['~run'](dataset, config);
    return { typed: false, value, issues: looked.issues };
  },
});
export const list = <S extends v.GenericSchema>(item: S, most: number) => {
  const what = `it must have ${most} items at most`;
  return lengthFirst(
    v.pipe(v.array(item, 'it must be a list'), v.maxLength(most, what)),
    v.maxLength<unknown[], number, string>(most, what),
  );
};
export const oneOf = <const T extends readonly string[]>(...words: T) =>
  v.picklist(words, `it must be ${words.map((word) => `"${word}"`).join(' or ')}`);
const yesNo = v.boolean('it must be true or false');
/** What was computed here: any number that is none of the monsters. */
const figure = number(-1e30, 1e30);
const notNegative = number(0, 1e30);
/** Infinity, which JSON has no word for, is null there. */
const orInfinity = <S extends v.GenericSchema<number, number>>(value: S) =>
  v.pipe(
    v.nullable(v.number('it must be a number, or null for one without end')),
    v.transform((given) => given ?? Infinity),
    v.union([v.literal(Infinity), value], 'it must be a number, or null for one without end'),
  );

const MOST_READINGS = 100_000;
/** What a person would call something. */
const label = text(200);
/** What a person is told, or wrote. */
const words = text(10_000);
const id = text(100, 1);
const generation = whole(LIMITS.generation);
const readingNumber = whole(LIMITS.reading, 1);
const orNoReading = whole(LIMITS.reading);
const crc = pattern(/^[0-9A-F]{8}$/, 'eight hexadecimal digits');
const mounting = pattern(
  /^[+-]([xyz])[+-](?!\1)([xyz])[+-](?!\1|\2)[xyz]$/,
  'three signed axes such as +y-x+z',
);
const degrees = number(-360, 360);
const celsius = number(-273.15, 1000);
const radians = number(-7, 7);
const triple = <S extends v.GenericSchema<number, number>>(item: S) =>
  v.strictTuple([item, item, item], 'it must be a list of three numbers');
const vector = triple(figure);
const counts = triple(number(-1e12, 1e12));
const scatter = triple(number(0, 1e12));
const scale = v.pipe(number(0, 1e12), v.gtValue(0, 'it must be above zero'));
const known = oneOf('answer', 'read back');
const inStep = { step: v.exactOptional(id), way: v.exactOptional(oneOf('undo', 'redo')) };
const model = oneOf('straight', 'bowed');

/** A time as `Date.toISOString` gives it, of a day that there is. */
export const time = v.pipe(
  pattern(
    /^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z$/,
    'a time in UTC such as 2031-05-01T12:00:00.000Z',
  ),
  v.check((given) => {
    const parsed = Date.parse(given);
    return !Number.isNaN(parsed) && new Date(parsed).toISOString() === given;
  }, 'it must be a time of a day that there is'),
);

const binary32 = v.pipe(
  finite,
  v.check((value) => Math.fround(value) === value, 'it must be a number of binary32'),
);
const positive32 = v.pipe(binary32, v.gtValue(0, 'it must be above zero'));
const valuesOf = (n: number) =>
  lengthFirst(v.pipe(v.array(binary32), v.length(n)), v.length<unknown[], number>(n));
const values = v.union(
  [valuesOf(26), valuesOf(29)],
  'it must be a list of 26 or 29 numbers of binary32',
);

const setFields = { model, values };
const isWhole = ({ model, values }: CoefficientSet) =>
  values.length === (model === 'straight' ? 26 : 29) && values[0]! > 0 && values[1]! > 0;
const setWords = 'it must be a set of its model: 26 or 29 numbers, of which two scales above zero';
const crcWords = 'it must be the CRC of the set';
const set = v.pipe(
  v.strictObject(setFields),
  v.check((given) => isWhole(given), setWords),
);
const storedSet = v.pipe(
  v.strictObject({ ...setFields, generation, crc }),
  v.check((given) => isWhole(given), setWords),
  v.forward(
    v.check((stored) => setCrc(stored) === stored.crc, crcWords),
    ['crc'],
  ),
);

const identity = v.strictObject({
  protocol: whole(99, 1),
  serial: text(64, 1),
  name: text(64),
  hardware: text(64),
  firmware: text(64),
  capabilities: list(text(64), 64),
  accScale: scale,
  magScale: scale,
  accMounting: v.exactOptional(mounting),
  magMounting: v.exactOptional(mounting),
  accNoise: notNegative,
  magNoise: notNegative,
  chunk: whole(1e6),
  captureMs: whole(1e6),
  generation,
});

const sensed = {
  tMs: v.exactOptional(whole(0xffffffff)),
  acc: counts,
  mag: counts,
  accScatter: v.exactOptional(scatter),
  magScatter: v.exactOptional(scatter),
  samples: v.exactOptional(whole(1e6)),
  temperature: v.exactOptional(celsius),
  volt: v.exactOptional(number(0, 1000)),
  azimuth: v.exactOptional(degrees),
  inclination: v.exactOptional(number(-90, 90)),
  roll: v.exactOptional(degrees),
  range: v.exactOptional(number(0, 1e6)),
};
const boardReading = v.strictObject({ reading: readingNumber, generation, ...sensed });
const memory = v.strictObject({
  first: orNoReading,
  last: orNoReading,
  count: orNoReading,
  room: orNoReading,
  dropped: orNoReading,
});
const unreadable = v.strictObject({ reading: orNoReading, reason: words });

const aim = v.strictObject({
  azimuth: v.exactOptional(degrees),
  inclination: v.exactOptional(number(-90, 90)),
  roll: v.exactOptional(degrees),
});
const wholeAim = v.strictObject({
  azimuth: degrees,
  inclination: number(-90, 90),
  roll: degrees,
});
const taken = {
  id,
  reading: boardReading,
  sighting: v.exactOptional(id),
  aim: v.exactOptional(aim),
};
const sightings = list(
  v.strictObject({
    sighting: id,
    azimuth: degrees,
    inclination: number(-90, 90),
    rolls: list(degrees, 1000),
  }),
  10_000,
);
const plan = v.strictObject({
  name: label,
  sightings,
  azimuths: oneOf('absolute', 'relative'),
  dipSign: v.exactOptional(v.picklist([1, -1], 'it must be 1 or -1')),
});

const angleErrors = v.strictObject({ azimuth: notNegative, inclination: notNegative });
const freedom = orInfinity(notNegative);
const matrix = v.strictTuple(
  [binary32, binary32, binary32, binary32, binary32, binary32, binary32, binary32, binary32],
  'it must be a list of nine numbers of binary32',
);
const vector32 = triple(binary32);
const coefficients = v.strictObject({
  model,
  accScale: positive32,
  magScale: positive32,
  o: vector32,
  A: matrix,
  p: vector32,
  B: matrix,
  q: vector32,
});
const uncertainty = v.pipe(
  v.strictObject({
    ...angleErrors.entries,
    freedom: v.strictObject({ azimuth: freedom, inclination: freedom }),
    theta: list(figure, 28),
    covariance: list(figure, 28 * 28),
  }),
  v.forward(
    v.check(
      ({ theta, covariance }) => covariance.length === theta.length ** 2,
      'it must have as many rows and columns as theta has numbers',
    ),
    ['covariance'],
  ),
);
const fittedReading = v.strictObject({
  id,
  sighting: v.exactOptional(id),
  used: yesNo,
  azimuth: v.exactOptional(radians),
  inclination: v.exactOptional(radians),
  roll: v.exactOptional(radians),
  gravity: notNegative,
  field: notNegative,
  dip: v.exactOptional(radians),
  accResidual: v.exactOptional(vector),
  magResidual: v.exactOptional(vector),
  aimError: v.exactOptional(notNegative),
  misfit: v.exactOptional(notNegative),
});
const modelChoice = v.strictObject({
  why: oneOf('clear', 'not_clear', 'undetermined', 'too_few', 'no_straight', 'forced'),
  detail: v.exactOptional(words),
  missed: v.exactOptional(
    v.strictObject({ straight: figure, bowed: figure, gain: figure, standardError: figure }),
  ),
});
const otherModel = v.strictObject({
  uncertainty: v.strictObject({
    ...angleErrors.entries,
    freedom: v.strictObject({ azimuth: freedom, inclination: freedom }),
  }),
  meanSpread: v.exactOptional(notNegative),
  accNoise: notNegative,
});
const heldOut = v.strictObject({
  meanSpread: v.exactOptional(notNegative),
  count: whole(MOST_READINGS),
  squares: notNegative,
  doubtful: list(id, MOST_READINGS),
});
const residualTest = v.strictObject({
  name: v.picklist(
    [
      'noise_acc',
      'noise_mag',
      'serial_acc_x',
      'serial_acc_y',
      'serial_acc_z',
      'serial_mag_x',
      'serial_mag_y',
      'serial_mag_z',
      'order_acc',
      'order_mag',
      'temperature_acc',
      'temperature_mag',
      'attitude_gravity',
      'attitude_field',
      'attitude_dip',
    ],
    'it must be the name of a test of residuals',
  ),
  verdict: oneOf('as_expected', 'departs', 'cannot_tell'),
  why: v.exactOptional(oneOf('not_declared', 'no_temperature', 'too_few', 'in_the_model')),
  statistic: v.exactOptional(orInfinity(figure)),
  freedom: v.exactOptional(list(freedom, 2)),
  p: v.exactOptional(number(0, 1)),
  adjusted: v.exactOptional(number(0, 1)),
  ratio: v.exactOptional(orInfinity(notNegative)),
  correlation: v.exactOptional(figure),
  change: v.exactOptional(vector),
});
const many = v.exactOptional(whole(1e6));
const holdsFor = v.strictObject({
  temperature: v.exactOptional(v.strictObject({ coldest: celsius, warmest: celsius })),
  attitudes: v.strictObject({
    of: whole(1e6),
    outside: whole(1e6),
    reasons: v.strictObject({
      colder: many,
      warmer: many,
      down_not_covered: many,
      field_not_covered: many,
      azimuth_uncertain: many,
      inclination_uncertain: many,
      no_direction: many,
    }),
  }),
  largest: angleErrors,
});
const fit = {
  id,
  coefficients,
  dip: radians,
  noise: v.strictObject({
    acc: notNegative,
    mag: notNegative,
    aim: v.exactOptional(notNegative),
  }),
  meanSpread: v.exactOptional(notNegative),
  sightings: list(
    v.strictObject({
      sighting: id,
      n: whole(MOST_READINGS),
      spread: v.exactOptional(notNegative),
    }),
    MOST_READINGS,
  ),
  readings: list(fittedReading, MOST_READINGS),
  uncertainty,
  setAside: list(v.strictObject({ id, reason: words }), MOST_READINGS),
  stopped: oneOf('converged', 'rounding', 'no_progress', 'iterations'),
  iterations: whole(1e6),
  warnings: list(words, 1000),
  modelChoice: v.exactOptional(modelChoice),
  otherModel: v.exactOptional(otherModel),
  heldOut: v.exactOptional(heldOut),
  residualTests: v.exactOptional(list(residualTest, 100)),
  holdsFor: v.exactOptional(holdsFor),
  readingNoise: v.exactOptional(angleErrors),
};

const proofFigures = list(
  v.strictObject({
    name: label,
    value: figure,
    limit: v.exactOptional(figure),
    unit: v.picklist(['°', '%', ''], 'it must be "°", "%" or nothing'),
    n: whole(MOST_READINGS),
    good: yesNo,
  }),
  100,
);
const proof = {
  generation,
  readings: list(id, MOST_READINGS),
  figures: proofFigures,
  passed: yesNo,
  blindTo: list(words, 100),
  warnings: list(words, 1000),
};

const scattered = v.strictObject({ mean: figure, sd: notNegative });
const siteCheck = {
  place: v.exactOptional(
    v.strictObject({
      latitude: number(-90, 90),
      longitude: number(-180, 180),
      height: number(-1000, 100_000),
    }),
  ),
  expected: v.exactOptional(
    v.strictObject({
      model: label,
      valid: yesNo,
      declination: radians,
      dip: radians,
      strength: notNegative,
    }),
  ),
  through: v.exactOptional(v.strictObject({ generation, crc })),
  madeIn: v.exactOptional(notNegative),
  spots: v.pipe(
    list(
      v.strictObject({
        time,
        n: whole(MOST_READINGS),
        moved: whole(MOST_READINGS),
        field: scattered,
        dip: v.exactOptional(scattered),
        down: triple(number(-1, 1)),
        raw: vector,
      }),
      2,
    ),
    v.minLength(1, 'it must have one item at least'),
  ),
  figures: proofFigures,
  verdict: oneOf('clean', 'disturbed', 'nothing found', 'open'),
  blindTo: list(words, 100),
};

const assemblyPose = oneOf(
  'at rest',
  'nose up',
  'nose down',
  'right side down',
  'upside down',
  'quarter turn',
);
const assemblyFinding = v.strictObject({
  fault: oneOf(
    'no answer',
    'stuck',
    'clipped',
    'end of range',
    'noisy',
    'quiet',
    'lags',
    'turned',
    'reversed',
    'swapped',
    'mirrored',
    'contradictory',
    'offset',
    'scale',
    'supply low',
    'supply implausible',
    'temperature implausible',
  ),
  chip: v.exactOptional(oneOf('acc', 'mag')),
  axes: v.exactOptional(list(oneOf('x', 'y', 'z'), 3)),
  evidence: words,
});

const tolerance = {
  degrees: number(0, 360),
  grade: v.exactOptional(oneOf('3', '5', '6')),
};

const metres = number(0, 100_000);
/** At least two, or nothing tells how readings scatter. */
const times = whole(100, 2);
const aboveZero = v.pipe(metres, v.gtValue(0, 'it must be above zero'));
const someLengths = list(aboveZero, 1000);
const beside = number(-100_000, 100_000);
const landings = v.strictObject({
  distance: aboveZero,
  landed: v.pipe(
    list(v.strictObject({ right: beside, up: beside }), 4),
    v.minLength(4, 'it must have four items'),
  ),
});
const checkTerms = v.variant('check', [
  v.strictObject({ check: v.literal('rolls'), mark: label, each: times }),
  v.strictObject({
    check: v.literal('fore and back'),
    each: times,
    heights: v.exactOptional(
      v.strictObject({
        fore: number(-1000, 1000),
        back: number(-1000, 1000),
        distance: aboveZero,
      }),
    ),
  }),
  v.strictObject({
    check: v.literal('known bearings'),
    north: oneOf('magnetic', 'true', 'grid'),
    declination: degrees,
    declinationError: number(0, 360),
    convergence: degrees,
    trueTo: number(0, 360),
    each: times,
    marks: list(v.strictObject({ mark: label, bearing: degrees }), 100),
  }),
  v.strictObject({ check: v.literal('battery swap'), each: whole(100, 1) }),
  v.strictObject({
    check: v.literal('loop'),
    lengths: someLengths,
    lengthsTo: metres,
    each: whole(100, 1),
    ways: v.exactOptional(oneOf('fore')),
    heldTo: v.exactOptional(metres),
    ranged: v.exactOptional(v.literal(true)),
  }),
  v.strictObject({
    check: v.literal('range'),
    lengths: someLengths,
    lengthsTo: metres,
    tapeTo: number(0, 1e6),
    from: label,
    limit: metres,
    each: times,
  }),
  v.strictObject({
    check: v.literal('beam'),
    near: landings,
    far: landings,
    readTo: number(0, 10_000),
    each: times,
  }),
]);
const checkKind = oneOf(
  ...([
    'rolls',
    'fore and back',
    'known bearings',
    'battery swap',
    'loop',
    'range',
    'beam',
  ] as const),
);
const correction = v.strictObject({ constant: number(-1000, 1000), scale: number(-1e6, 1e6) });
const foundRange = v.strictObject({
  constant: figure,
  scale: figure,
  covariance: v.strictObject({ constant: notNegative, scale: notNegative, both: figure }),
  freedom: orInfinity(notNegative),
  least: metres,
  most: metres,
  from: label,
  correction: v.exactOptional(correction),
});
const checkFigures = list(
  v.strictObject({
    name: text(1000),
    value: figure,
    half: orInfinity(notNegative),
    unit: oneOf('°', 'm', '%', 'mm', 'ppm'),
    limit: v.exactOptional(notNegative),
    standing: v.exactOptional(oneOf('within', 'outside', 'not settled')),
    expected: v.exactOptional(orInfinity(notNegative)),
    n: whole(MOST_READINGS),
  }),
  1000,
);

const setting = v.strictObject({
  at: whole(CARE_LIMITS.settings),
  name: text(64, 1),
  label,
  kind: oneOf('switch', 'number', 'choice', 'text'),
  value: label,
  default: label,
  min: v.exactOptional(label),
  max: v.exactOptional(label),
  decimals: v.exactOptional(whole(20)),
  unit: v.exactOptional(label),
  choices: v.exactOptional(list(label, 100)),
  longest: v.exactOptional(whole(1000)),
  restart: yesNo,
});
const revision = whole(CARE_LIMITS.revision);
const version = text(64, 1);
/** Seconds since 1970; boards count them in 32 bits. */
const seconds = whole(0xffffffff);

const source = v.strictObject({
  generation: v.exactOptional(generation),
  fit: v.exactOptional(v.strictObject({ calibration: id, id })),
  entered: v.exactOptional(label),
});

const sheet = v.strictObject({
  boardName: v.exactOptional(label),
  by: oneOf('hand', 'file'),
  file: v.exactOptional(text(1000)),
  text: text(1_000_000),
  separator: oneOf('tab', 'semicolon', 'comma', 'space'),
  decimal: oneOf('point', 'comma'),
  columns: list(text(1000), 1000),
  units: v.strictObject({
    acc: label,
    mag: label,
    angle: v.exactOptional(label),
    temperature: v.exactOptional(label),
  }),
  scales: v.exactOptional(v.strictObject({ acc: scale, mag: scale })),
  mounting: v.exactOptional(v.strictObject({ acc: mounting, mag: mounting })),
});

const happening = { board: text(64, 1), time };
/** What happens within one calibration. */
const within = { ...happening, calibration: id };
/** What may happen within one, or outside any. */
const anywhere = { ...happening, calibration: v.exactOptional(id) };

const happens = <K extends EntryKind, F extends v.ObjectEntries>(kind: K, fields: F) =>
  v.strictObject({ kind: v.literal(kind), ...fields });

const failed = { ...anywhere, reason: words };
const day = pattern(/^\d{4}-\d{2}-\d{2}$/, 'a day such as 2031-05-12');
const remarked = {
  ...anywhere,
  id,
  text: v.exactOptional(words),
  on: v.exactOptional(day),
};
const begunAgainst = { ...within, replaces: generation };
const inForceAgain = { generation, crc, replaced: generation, known };

export const ENTRY_SCHEMAS = {
  'board linked': happens('board linked', { ...anywhere, identity, link: label }),
  'memory saved': happens('memory saved', {
    ...anywhere,
    memory,
    readings: list(boardReading, MOST_READINGS),
    unreadable: v.exactOptional(list(unreadable, MOST_READINGS)),
  }),
  'coefficients saved': happens('coefficients saved', {
    ...anywhere,
    inForce: v.exactOptional(storedSet),
    previous: v.exactOptional(storedSet),
  }),
  erased: happens('erased', { ...anywhere, through: orNoReading, count: orNoReading }),
  note: happens('note', {
    ...anywhere,
    text: words,
    id: v.exactOptional(id),
    on: v.exactOptional(day),
  }),
  'battery changed': happens('battery changed', remarked),
  knocked: happens('knocked', remarked),
  'site checked': happens('site checked', { ...anywhere, ...siteCheck }),
  'remark withdrawn': happens('remark withdrawn', { ...anywhere, of: id }),
  'check begun': v.pipe(
    happens('check begun', {
      ...anywhere,
      id,
      terms: checkTerms,
      tolerance: v.strictObject(tolerance),
      generation,
      set,
      crc,
      correction: v.exactOptional(correction),
    }),
    v.forward(
      v.check(({ set, crc }) => setCrc(set) === crc, crcWords),
      ['crc'],
    ),
  ),
  'check reading': happens('check reading', {
    ...anywhere,
    check: id,
    place: id,
    reading: boardReading,
  }),
  check: happens('check', {
    ...anywhere,
    check: id,
    of: checkKind,
    generation,
    crc,
    tolerance: v.strictObject(tolerance),
    verdict: oneOf('passed', 'failed', 'not settled'),
    figures: checkFigures,
    warnings: list(words, 1000),
    found: v.exactOptional(list(words, 100)),
    range: v.exactOptional(foundRange),
  }),
  'check left': happens('check left', { ...anywhere, check: id }),
  'assembly check begun': happens('assembly check begun', { ...anywhere, id }),
  'assembly looked at': happens('assembly looked at', {
    ...anywhere,
    check: id,
    pose: assemblyPose,
    looks: list(v.strictObject(sensed), 1000),
    refused: v.exactOptional(
      v.strictObject({ code: oneOf('saturated', 'low_power'), times: whole(1000, 1) }),
    ),
    sure: v.exactOptional(v.literal(true)),
  }),
  'assembly checked': happens('assembly checked', {
    ...anywhere,
    check: id,
    verdict: oneOf('sound', 'faulty', 'not settled'),
    findings: list(assemblyFinding, 100),
    mounting: v.strictObject({
      acc: v.exactOptional(mounting),
      mag: v.exactOptional(mounting),
    }),
    untold: list(words, 100),
  }),
  'assembly check left': happens('assembly check left', { ...anywhere, check: id }),
  'coefficients entered': v.pipe(
    happens('coefficients entered', {
      ...anywhere,
      set,
      crc,
      name: label,
      by: oneOf('file', 'hand'),
      dip: v.exactOptional(radians),
    }),
    v.forward(
      v.check(({ set, crc }) => setCrc(set) === crc, crcWords),
      ['crc'],
    ),
  ),

  'settings saved': happens('settings saved', {
    ...anywhere,
    revision,
    settings: list(setting, CARE_LIMITS.settings),
  }),
  'settings begun': happens('settings begun', {
    ...anywhere,
    replaces: revision,
    changes: list(v.strictObject({ name: text(64, 1), to: label }), CARE_LIMITS.settings),
  }),
  'settings adopted': happens('settings adopted', {
    ...anywhere,
    revision,
    restart: yesNo,
    known,
  }),
  'settings failed': happens('settings failed', failed),
  'rename begun': happens('rename begun', { ...anywhere, from: text(64), to: text(64) }),
  renamed: happens('renamed', { ...anywhere, to: text(64), known }),
  'rename failed': happens('rename failed', failed),
  'clock begun': happens('clock begun', {
    ...anywhere,
    said: v.exactOptional(seconds),
    utc: seconds,
  }),
  'clock set': happens('clock set', { ...anywhere, utc: seconds, known }),
  'clock failed': happens('clock failed', failed),
  'erase begun': happens('erase begun', { ...anywhere, through: orNoReading, count: orNoReading }),
  'erase failed': happens('erase failed', failed),
  'restore begun': happens('restore begun', { ...anywhere, replaces: generation, crc }),
  restored: happens('restored', { ...anywhere, ...inForceAgain }),
  'restore failed': happens('restore failed', failed),
  'update begun': happens('update begun', {
    ...anywhere,
    from: version,
    to: version,
    source: oneOf('file', 'spare'),
    size: whole(CARE_LIMITS.image),
    crc,
    trialSeconds: seconds,
  }),
  'update swap begun': happens('update swap begun', anywhere),
  'update swapped': happens('update swapped', anywhere),
  'update confirm begun': happens('update confirm begun', {
    ...anywhere,
    checks: list(words, 100),
  }),
  'update confirmed': happens('update confirmed', { ...anywhere, known }),
  'update finished': happens('update finished', { ...anywhere, otherwise: list(words, 1000) }),
  'update undone': happens('update undone', { ...anywhere, running: text(64), reason: words }),
  'update given up': happens('update given up', failed),

  'calibration started': happens('calibration started', { ...within, plan }),
  'calibration entered': happens('calibration entered', { ...within, plan, sheet }),
  'reading entered': happens('reading entered', {
    ...within,
    id,
    sighting: v.exactOptional(id),
    acc: counts,
    mag: counts,
    temperature: v.exactOptional(celsius),
    aim: v.exactOptional(aim),
  }),
  'set chosen': v.pipe(
    happens('set chosen', { ...within, set, crc, source, dip: v.exactOptional(radians) }),
    v.forward(
      v.check(({ set, crc }) => setCrc(set) === crc, crcWords),
      ['crc'],
    ),
  ),
  'plan extended': happens('plan extended', {
    ...within,
    sightings,
    instead: v.exactOptional(v.literal(true)),
  }),
  'tolerance chosen': happens('tolerance chosen', { ...within, ...tolerance }),
  'capture begun': happens('capture begun', {
    ...within,
    purpose: oneOf('fit', 'proof'),
    sighting: id,
    aim: wholeAim,
    after: orNoReading,
  }),
  'capture failed': happens('capture failed', { ...within, reason: words }),
  reading: happens('reading', { ...within, ...taken }),
  'set aside': happens('set aside', {
    ...within,
    reading: id,
    reason: words,
    by: oneOf('person', 'fit'),
    ...inStep,
  }),
  'taken back': happens('taken back', { ...within, reading: id, ...inStep }),
  moved: happens('moved', { ...within, reading: id, sighting: v.exactOptional(id), ...inStep }),
  fit: happens('fit', { ...within, ...fit }),
  'fit refused': happens('fit refused', {
    ...within,
    cause: oneOf('too_few', 'undetermined', 'ambiguous', 'contradiction', 'not_converged'),
    message: words,
    next: words,
  }),
  staged: v.pipe(
    happens('staged', { ...within, fit: v.exactOptional(id), set, crc }),
    v.forward(
      v.check(({ set, crc }) => setCrc(set) === crc, crcWords),
      ['crc'],
    ),
  ),
  'seal begun': happens('seal begun', { ...begunAgainst, crc }),
  sealed: happens('sealed', { ...within, ...inForceAgain }),
  'seal failed': happens('seal failed', { ...within, generation, reason: words }),
  'revert begun': happens('revert begun', {
    ...begunAgainst,
    crc: pattern(/^([0-9A-F]{8})?$/, 'eight hexadecimal digits, or nothing where it is not known'),
  }),
  reverted: happens('reverted', { ...within, ...inForceAgain }),
  'revert failed': happens('revert failed', { ...within, generation, reason: words }),
  'proof reading': happens('proof reading', { ...within, ...taken }),
  proof: happens('proof', { ...within, ...proof }),
  'truth compared': happens('truth compared', {
    ...within,
    generation,
    azimuth: notNegative,
    inclination: notNegative,
    largestAzimuth: notNegative,
    largestInclination: notNegative,
    n: whole(1e9),
  }),
  'calibration ended': happens('calibration ended', {
    ...within,
    outcome: oneOf('proven', 'abandoned'),
    reason: words,
  }),
  'calibration resumed': happens('calibration resumed', within),
} satisfies { [K in EntryKind]: v.GenericSchema<unknown, EntryOf<K>> };

/** What entries are made of and has a name of its own in the published schema. */
export const ENTRY_PARTS = {
  identity,
  boardReading,
  memory,
  set,
  storedSet,
  aim,
  plan,
  sheet,
  setting,
  checkTerms,
  coefficients,
  uncertainty,
  fittedReading,
  residualTest,
};

/** Whether it is a kind of entry that there is. */
const isEntryKind = (kind: unknown): kind is EntryKind =>
  typeof kind === 'string' && Object.hasOwn(ENTRY_SCHEMAS, kind);

/** Checks what may be an entry; the first that is wrong with it, as a long list may be wrong in every item. */
export function checkEntry(
  given: unknown,
): { ok: true; entry: Entry } | { ok: false; issues: readonly v.BaseIssue<unknown>[] } {
  const head = v.safeParse(kindSchema, given);
  if (!head.success) return { ok: false, issues: head.issues };
  // each schema gives the entry of its kind, as `satisfies` above shows
  const schema: v.GenericSchema<unknown, Entry> = ENTRY_SCHEMAS[head.output.kind];
  const read = v.safeParse(schema, given, { abortEarly: true });
  return read.success ? { ok: true, entry: read.output } : { ok: false, issues: read.issues };
}

const kindSchema = v.object(
  {
    kind: v.custom<EntryKind>(
      isEntryKind,
      'it must be a kind of entry that this program knows. Is the file from a newer one?',
    ),
  },
  'it must be an entry',
);

/** Every field of the one is in the other, alike, all the way down: a field without its check fails to type. */
type Plain<T> = T extends object ? { readonly [K in keyof T]: Plain<T[K]> } : T;
export type Same<A, B> =
  (<T>() => T extends Plain<A> ? 1 : 2) extends <T>() => T extends Plain<B> ? 1 : 2 ? true : false;
type Holds<T extends Record<EntryKind, true>> = T;
export type EveryFieldIsChecked = Holds<{
  [K in EntryKind]: Same<EntryOf<K>, v.InferOutput<(typeof ENTRY_SCHEMAS)[K]>>;
}>;
