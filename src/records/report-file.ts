import * as v from 'valibot';

/**
 * The report of one calibration as JSON (docs/files.md, docs/schemas/report-1.schema.json, which is written from here):
 * what the printed report is laid out from, and more of it. Angles in degrees, lengths of calibrated vectors as ratios,
 * times as ISO 8601 in UTC.
 */

export const REPORT_TYPE = 'lodebench.report';
export const REPORT_VERSION = 1;

const text = v.string();
const figure = v.pipe(v.number(), v.finite());
const notNegative = v.pipe(figure, v.minValue(0));
const count = v.pipe(v.number(), v.integer(), v.minValue(0));
const time = v.pipe(v.string(), v.isoTimestamp());
/** A moment, or a day that a person named. */
const when = v.union([time, v.pipe(v.string(), v.isoDate())]);
const crc = v.pipe(v.string(), v.regex(/^[0-9A-F]{8}$/));
const model = v.picklist(['straight', 'bowed']);
const triple = v.strictTuple([figure, figure, figure]);
const rows = v.strictTuple([triple, triple, triple]);
const standing = v.picklist(['good', 'watch', 'bad']);

/** How certain one angle is in one attitude, or over all. */
const certainty = { standardError: notNegative, interval95: notNegative };
/** `typical` is the root mean square over all attitudes; `worst` the least certain of them. */
const angle = v.strictObject({
  typical: v.strictObject(certainty),
  worst: v.exactOptional(
    v.strictObject({ ...certainty, azimuth: figure, inclination: figure, roll: figure }),
  ),
  /** Half the 95 % interval of one reading, with its own noise. */
  singleReading: v.exactOptional(notNegative),
  /** Degrees of freedom behind the intervals; absent where without end. */
  freedom: v.exactOptional(notNegative),
});

const reading = v.strictObject({
  id: text,
  sighting: v.exactOptional(text),
  /** Whether the fit used it. */
  used: v.boolean(),
  /** About one is normal; absent where the fit did not use it. */
  misfit: v.exactOptional(notNegative),
  azimuth: v.exactOptional(figure),
  inclination: v.exactOptional(figure),
  roll: v.exactOptional(figure),
  gravity: notNegative,
  field: notNegative,
  dip: v.exactOptional(figure),
});

const result = v.strictObject({
  /** Id of the fit within its calibration. */
  fit: text,
  fitted: time,
  model,
  /** Why that model, in words. */
  why: v.exactOptional(text),
  crc,
  /** As in a coefficients file. */
  coefficients: v.strictObject({
    model,
    accScale: figure,
    magScale: figure,
    o: triple,
    A: rows,
    p: triple,
    B: rows,
    q: triple,
  }),
  dip: figure,
  azimuth: angle,
  inclination: angle,
  /** Mean over the sightings with two readings or more, of readings the fit saw. */
  spread: v.exactOptional(v.strictObject({ mean: notNegative, sightings: count, readings: count })),
  /** Each sighting judged by a fit that had not seen it. */
  leftOut: v.exactOptional(
    v.strictObject({
      meanSpread: v.exactOptional(notNegative),
      sightings: count,
      doubtful: v.array(text),
    }),
  ),
  /** Standard deviations per reading and axis: of gravity and of the field as ratios, of the aim in degrees. */
  noise: v.strictObject({
    gravity: notNegative,
    field: notNegative,
    aim: v.exactOptional(notNegative),
  }),
  sightings: v.array(
    v.strictObject({ sighting: text, n: count, spread: v.exactOptional(notNegative) }),
  ),
  /** Every reading there was when it was fitted, in the order taken. */
  readings: v.array(reading),
});

/** One figure in words, as a person reads it. */
const finding = v.strictObject({ name: text, figure: text, words: text, standing });
const fact = v.strictObject({ name: text, figure: text });

const proof = v.strictObject({
  taken: time,
  generation: count,
  /** How many fresh readings. */
  readings: count,
  passed: v.boolean(),
  /** How many proofs of it were taken before and did not pass. */
  failedBefore: count,
  figures: v.array(
    v.strictObject({
      name: text,
      /** Absent where there was nothing to take it over. */
      value: v.exactOptional(figure),
      limit: v.exactOptional(figure),
      unit: v.picklist(['°', '%', '']),
      n: count,
      good: v.boolean(),
    }),
  ),
  warnings: v.array(text),
  blindTo: v.array(text),
  /** Errors against the truth, which only a simulated board can tell. */
  truth: v.exactOptional(
    v.strictObject({
      azimuth: notNegative,
      inclination: notNegative,
      largestAzimuth: notNegative,
      largestInclination: notNegative,
      n: count,
    }),
  ),
});

/** What was found of the site on the day, and where that was, if it was told. */
const site = v.strictObject({
  checked: time,
  verdict: v.picklist(['clean', 'disturbed', 'nothing found', 'open']),
  words: text,
  place: v.exactOptional(v.strictObject({ latitude: figure, longitude: figure, height: figure })),
  /** What a model of the earth's field says of that place and day; `strength` in nT. */
  expected: v.exactOptional(
    v.strictObject({
      model: text,
      valid: v.boolean(),
      declination: figure,
      dip: figure,
      strength: figure,
    }),
  ),
});

/** A check in the field of these coefficients. */
const check = v.strictObject({
  taken: time,
  name: text,
  verdict: v.picklist(['passed', 'failed', 'not settled']),
  /** Degrees. */
  tolerance: figure,
  figures: v.array(
    v.strictObject({
      name: text,
      value: v.exactOptional(figure),
      /** Half of the 95 % interval; absent where it is not known. */
      half: v.exactOptional(notNegative),
      unit: v.picklist(['°', 'm', '%', 'mm', 'ppm']),
      limit: v.exactOptional(figure),
      standing: v.exactOptional(v.picklist(['within', 'outside', 'not settled'])),
      n: count,
    }),
  ),
  warnings: v.array(text),
});

export const ReportFile = v.strictObject({
  type: v.literal(REPORT_TYPE),
  version: v.literal(REPORT_VERSION),
  /** When it was written, and by which version of Lodebench. */
  written: time,
  program: text,
  calibration: text,
  board: v.strictObject({
    serial: text,
    name: v.exactOptional(text),
    hardware: v.exactOptional(text),
    firmware: v.exactOptional(text),
    /** It is a board in software: nothing here is of an instrument. */
    simulated: v.boolean(),
  }),
  /** The bench that recorded it, where that is another than the one that wrote this. */
  bench: v.exactOptional(text),
  begun: time,
  /** Absent where no site was checked on that day. */
  site: v.exactOptional(site),
  /** When the first and the last reading that the result is of came to the logbook. */
  taken: v.exactOptional(v.strictObject({ first: time, last: time })),
  readings: v.strictObject({
    from: v.picklist(['board', 'sheet']),
    /** Where they are from a sheet: its file, and the units it was in. */
    file: v.exactOptional(text),
    units: v.exactOptional(v.strictObject({ acc: text, mag: text })),
    plan: v.strictObject({
      name: text,
      sightings: count,
      attitudes: count,
      /** Places of the plan for which no reading counts. */
      gaps: count,
      azimuths: v.picklist(['absolute', 'relative']),
    }),
    taken: count,
    used: count,
    setAside: v.array(
      v.strictObject({
        id: text,
        sighting: v.exactOptional(text),
        by: v.picklist(['person', 'fit']),
        reason: text,
      }),
    ),
    /** Coldest and warmest used, degrees Celsius; lowest and highest supply, volts. */
    temperature: v.exactOptional(v.strictObject({ coldest: figure, warmest: figure })),
    supply: v.exactOptional(v.strictObject({ lowest: figure, highest: figure })),
  }),
  /** What it was judged against: degrees, and what that is called. */
  tolerance: v.strictObject({ degrees: figure, name: text }),
  /** Why there is no result, and what to do. */
  refusal: v.exactOptional(v.strictObject({ message: text, next: text })),
  result: v.exactOptional(result),
  judgement: v.exactOptional(
    v.strictObject({
      standing,
      verdict: text,
      findings: v.array(finding),
      notKnown: v.array(text),
      warnings: v.array(text),
    }),
  ),
  /** What the board ran before, and what the result changes against it. */
  before: v.exactOptional(
    v.strictObject({ generation: count, model, crc, lead: text, changes: v.array(fact) }),
  ),
  seal: v.exactOptional(
    v.strictObject({
      sealed: time,
      generation: count,
      /** Generation that it replaced; 0 where the board had none. */
      replaced: count,
      crc,
      /** The set as it was read back, compared as the bits that the board keeps; absent where it was not read back. */
      readBack: v.exactOptional(
        v.strictObject({ equal: v.boolean(), numbers: count, different: count }),
      ),
      /** Whether the board ran it when it was last read; absent where it was not read since. */
      inForce: v.exactOptional(v.boolean()),
    }),
  ),
  proof: v.exactOptional(proof),
  /** Checks in the field, in the order taken, passed or not. */
  checks: v.array(check),
  /** What was found since that a reader must know, a sentence each, and when. */
  since: v.array(v.strictObject({ when, what: text })),
  /** What a reader must know of this report itself, a sentence each. */
  notes: v.array(text),
  validFor: v.array(text),
  notValidFor: v.array(text),
  /** What none of the figures can see. */
  blindTo: v.array(text),
  caution: text,
});

/** The report of one calibration. Plain data: it can be written as it is. */
export type CalibrationReport = v.InferOutput<typeof ReportFile>;
export type ReportResult = v.InferOutput<typeof result>;
export type ReportReading = v.InferOutput<typeof reading>;
export type ReportCheck = v.InferOutput<typeof check>;
export type ReportSite = v.InferOutput<typeof site>;
export type ReportProof = v.InferOutput<typeof proof>;

/** Writes a report file. */
export const writeReport = (report: CalibrationReport): string =>
  `${JSON.stringify(report, null, 2)}\n`;
