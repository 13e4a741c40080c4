import * as v from 'valibot';
import { MOST_LEGS, MOST_SHOTS } from './course-csv.ts';
import type { CourseNote } from './course-notes.ts';
import { ENTRY_PARTS, list, number, oneOf, text, time, whole, type Same } from './entry-schemas.ts';

/** What the body of a check course's note must be to be taken in from a file (note-schemas.ts). */

const name = text(100, 1);
/** Of an outing, and of a note. */
const hexId = v.pipe(
  v.string('it must be a text'),
  v.regex(/^[0-9a-f]{32}$/, 'it must be 32 hexadecimal digits'),
);
const day = v.pipe(
  v.string('it must be a text'),
  v.regex(/^\d{4}-\d\d-\d\d$/, 'it must be a day such as 2031-05-12'),
);
const crc = v.pipe(
  v.string('it must be a text'),
  v.regex(/^[0-9A-F]{8}$/, 'it must be eight hexadecimal digits'),
);
const words = text(2000);
const sentences = list(words, 200);
const azimuth = number(-360, 360);
const inclination = number(-90, 90);
const sigma = number(0, 360);
const figureNumber = number(-1e9, 1e9);
const stationNames = list(name, 2 * MOST_LEGS);

const instrument = v.union(
  [v.strictObject({ board: text(64, 1) }), v.strictObject({ name: text(100, 1) })],
  'it must be a board by its serial number, or an instrument by its name',
);
const ends = v.strictObject({ from: name, to: name });

const layout = {
  name: text(200, 1),
  stations: stationNames,
  legs: list(
    v.strictObject({
      from: name,
      to: name,
      azimuth: v.exactOptional(
        v.strictObject({ degrees: azimuth, sigma, north: oneOf('magnetic', 'true', 'grid') }),
      ),
      inclination: v.exactOptional(v.strictObject({ degrees: inclination, sigma })),
    }),
    MOST_LEGS,
  ),
  each: whole(10, 1),
  place: v.exactOptional(
    v.strictObject({
      latitude: number(-90, 90),
      longitude: number(-180, 180),
      height: number(-1e4, 1e5),
    }),
  ),
  convergence: v.exactOptional(number(-180, 180)),
  madeUp: v.exactOptional(
    v.strictObject({
      turned: list(v.strictObject({ station: name, degrees: number(-180, 180) }), 2 * MOST_LEGS),
      bent: number(-180, 180),
    }),
  ),
};

const terms = {
  stations: v.union(
    [
      v.strictObject({ clean: stationNames, sigma }),
      v.strictObject({ zeroMean: sigma }),
      v.literal('nothing said'),
    ],
    'it must say where the field is not turned, or "nothing said"',
  ),
  reference: v.exactOptional(v.strictObject({ instrument, asRight: v.exactOptional(sigma) })),
  tolerance: number(0, 360),
};

const { boardReading } = ENTRY_PARTS;
const source = v.variant('from', [
  v.strictObject({
    from: oneOf('link', 'memory'),
    reading: boardReading,
    generation: whole(0xffffffff),
    crc,
    turned: v.exactOptional(number(-180, 180)),
  }),
  v.strictObject({
    from: v.literal('file'),
    file: text(300),
    line: whole(1e9, 1),
  }),
  v.strictObject({ from: v.literal('hand') }),
]);

const figureFields = {
  value: figureNumber,
  error: sigma,
  freedom: v.exactOptional(number(0, 1e9)),
  half: number(0, 1e9),
};
const against = v.strictObject({ ...figureFields, against: oneOf('zero', 'others') });
const quantity = {
  alone: v.exactOptional(v.strictObject(figureFields)),
  above: v.exactOptional(v.strictObject({ ...figureFields, other: text(300) })),
  base: v.exactOptional(v.literal(true)),
};
const deviation = v.strictObject({
  value: number(0, 1e9),
  low: number(0, 1e9),
  high: v.exactOptional(number(0, 1e9)),
});
const precision = v.strictObject({
  repeatability: v.exactOptional(deviation),
  reproducibility: v.exactOptional(deviation),
});
const result = v.strictObject({
  instruments: list(
    v.strictObject({
      instrument,
      shots: whole(MOST_SHOTS),
      standing: oneOf('within', 'off', 'scatters', 'not settled'),
      verdict: words,
      reversed: v.exactOptional(oneOf('sign changed', 'other way')),
      azimuth: v.exactOptional(against),
      inclination: v.exactOptional(against),
      scatter: v.strictObject({
        azimuth: v.exactOptional(number(0, 1e9)),
        inclination: v.exactOptional(number(0, 1e9)),
      }),
      words: sentences,
    }),
    1000,
  ),
  stations: list(
    v.strictObject({ station: name, disturbs: v.boolean('it must be true or false'), ...quantity }),
    2 * MOST_LEGS,
  ),
  legs: list(
    v.strictObject({
      from: name,
      to: name,
      azimuth: v.strictObject(quantity),
      inclination: v.strictObject(quantity),
    }),
    MOST_LEGS,
  ),
  doubted: list(v.strictObject({ shot: hexId, words }), MOST_SHOTS),
  precision: v.strictObject({ azimuth: precision, inclination: precision }),
  drift: v.exactOptional(
    v.strictObject({
      range: number(0, 1e9),
      verdict: oneOf('drifts', 'no drift seen', 'cannot tell'),
    }),
  ),
  notDetermined: sentences,
  warnings: sentences,
  blindTo: sentences,
  causes: v.exactOptional(
    list(
      oneOf(
        'all off alike',
        'known disagrees',
        'not converged',
        'times missing',
        'reference too short',
        'others outside reference',
      ),
      10,
    ),
  ),
});

const is = <K extends string, F extends v.ObjectEntries>(kind: K, fields: F) =>
  v.strictObject({ kind: v.literal(kind), ...fields });

export const COURSE_BODIES = {
  'course laid out': is('course laid out', layout),
  'course terms': is('course terms', terms),
  'outing begun': is('outing begun', { outing: hexId, day }),
  shot: is('shot', {
    outing: hexId,
    leg: ends,
    way: oneOf('fore', 'back'),
    instrument,
    azimuth: v.exactOptional(azimuth),
    inclination: v.exactOptional(inclination),
    taken: v.exactOptional(time),
    source,
  }),
  'shot set aside': is('shot set aside', { shot: hexId, reason: words }),
  'shot taken back': is('shot taken back', { shot: hexId }),
  'outing settled': is('outing settled', {
    outing: hexId,
    shots: list(hexId, MOST_SHOTS),
    layout: v.strictObject(layout),
    terms: v.strictObject(terms),
    declination: v.exactOptional(
      v.strictObject({ degrees: number(-180, 180), sigma, model: text(100) }),
    ),
    result,
  }),
} satisfies {
  [K in CourseNote['kind']]: v.GenericSchema<unknown, Extract<CourseNote, { kind: K }>>;
};

/** Every field of a note has its check: one without fails to type. */
type Holds<T extends Record<CourseNote['kind'], true>> = T;
export type EveryFieldIsChecked = Holds<{
  [K in CourseNote['kind']]: Same<
    Extract<CourseNote, { kind: K }>,
    v.InferOutput<(typeof COURSE_BODIES)[K]>
  >;
}>;
