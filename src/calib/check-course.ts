/**
 * A check course: marked legs between stations, shot by several instruments from either end. What goes into its
 * adjustment (`adjustCourse(course, terms)` in course-adjustment.ts) and what comes out, as plain data. Radians, seconds.
 *
 * What a shot at station s along leg l with instrument i shows, at time t:
 *
 *   azimuth      = α_l (+ half a turn where shot back) + c_i + d_s + D(t) + noise / cos β_l
 *   inclination  = ± β_l (− where shot back) + e_i + noise
 *
 * α, β of the leg, from its beginning to its end; c_i the instrument's constant of azimuth, e_i its index error of
 * inclination; d_s by how much the field at that station is turned, for every instrument alike; D(t) by how much the
 * field has turned since its mean over the afternoon. A shot is made at a station: fore at the leg's beginning, back at
 * its end. The index error separates from the leg's inclination once any leg is shot both ways; of azimuth two things
 * must be said beforehand (see {@link CourseTerms}), or only differences are determined.
 */

export type Way = 'fore' | 'back';

export interface Course {
  /** Their names, each once. */
  stations: readonly string[];
  legs: readonly { id: string; from: string; to: string }[];
  instruments: readonly string[];
  shots: readonly CourseShot[];
}

/** The angles are as the instrument showed them; one that it did not show, or that has no meaning, is left out. */
export interface CourseShot {
  id: string;
  instrument: string;
  leg: string;
  way: Way;
  azimuth?: number;
  inclination?: number;
  /** Seconds, from whatever beginning all shots share. */
  time?: number;
  /** This shot's own standard deviation, where it is not the common one of {@link CourseTerms.noise}. */
  sigma?: { azimuth?: number; inclination?: number };
}

/** A value known beforehand, and its standard uncertainty; zero holds it fast. */
export interface Known {
  value: number;
  sigma: number;
}

/**
 * What is said beforehand. Azimuth wants two datums: (a) the azimuth of a leg or the constant of an instrument; (b) a
 * clean station, or that the disturbances come to nothing on the whole.
 */
export interface CourseTerms {
  /** Standard deviation of one shot as it is expected, of azimuth on a level leg and of inclination. Default 0.3°. */
  noise?: { azimuth: number; inclination: number };
  /** Azimuths from magnetic north, from the leg's beginning to its end. */
  legs?: readonly { leg: string; azimuth?: Known; inclination?: Known }[];
  /** Standard uncertainty that all known azimuths of legs have in common, such as that of the declination. */
  declinationSigma?: number;
  instruments?: readonly { instrument: string; azimuth?: Known; inclination?: Known }[];
  /**
   * `clean`: stations where the field is turned by nothing, give or take `sigma`. `zero mean`: the mean of all stations'
   * disturbances is nothing, give or take `sigma`: zero makes it a convention, to which all azimuths then refer; for
   * azimuths as the earth's field has them it is what one station is disturbed by, divided by the root of their number.
   */
  disturbances?:
    | { by: 'clean stations'; stations: readonly { station: string; sigma: number }[] }
    | { by: 'zero mean'; sigma: number };
  /**
   * The instrument whose shots through the afternoon, of one mark or of several in turn, tell how the field turned with
   * time. Without it the field is taken as constant.
   */
  reference?: string;
  /** What is allowed: of a constant (azimuth) and an index error (inclination), and of the scatter of one shot. */
  tolerance: {
    azimuth: number;
    inclination: number;
    /** Standard deviation of one shot. Without it an instrument's scatter is held against that of the others. */
    scatter?: { azimuth: number; inclination: number };
  };
  /** Chance that any instrument at all is found off, or too noisy, that is not. Default 0.05. */
  level?: number;
}

export type Angle = 'azimuth' | 'inclination';

/** A value with its standard error, its degrees of freedom (infinite where known beforehand) and half its 95 % interval. */
export interface Estimated {
  value: number;
  error: number;
  freedom: number;
  half: number;
}

/**
 * One unknown. Where it is not determined by itself, its difference from others of its kind may be: `comparable` names
 * those (without itself), and `difference` is this one's value less that of the first of its set; absent for that first
 * one, and where there are no others.
 */
export type Quantity =
  | ({ determined: true } & Estimated)
  | { determined: false; comparable: string[]; difference?: { from: string } & Estimated };

export interface AdjustedLeg {
  leg: string;
  /** In [0, 2π). */
  azimuth: Quantity;
  inclination: Quantity;
  shots: number;
}

export interface AdjustedStation {
  station: string;
  /** By how much every azimuth shot there shows too much. */
  disturbance: Quantity;
  /** p-value of no disturbance, adjusted for all stations (Holm); absent where it is not determined. */
  p?: number;
  /** More than nothing, with the stated family-wise error over all stations. */
  disturbs: boolean;
}

/**
 * - `in tolerance`: the 95 % intervals of its constant and index error lie within what is allowed
 * - `off`: one of them differs from nothing, or from what most of the others have, with the stated family-wise error, and
 *   its interval does not lie within what is allowed
 * - `too noisy`: it scatters more than allowed (or than the others), with the stated family-wise error
 * - `reversed`: its shots as a whole fit only otherwise than they were given, see {@link AdjustedInstrument.reversed}
 * - `not settled`: none of these; `why` says for want of what
 */
export type InstrumentVerdict = 'in tolerance' | 'off' | 'too noisy' | 'reversed' | 'not settled';

/**
 * - `no shots`: it has none of that angle
 * - `interval too wide`: the interval reaches to both sides of what is allowed; more shots would settle it
 * - `not determined`: nothing that it could be told from
 * - `others alone`: it agrees with the others, but only differences are determined, and all may be off alike
 * - `no majority`: the instruments fall apart into parties, and nothing says which is right
 * - `datum disagrees`: it agrees with the others, and what is known beforehand does not fit, so that zero is in doubt
 * - `noise assumed`: no shot checks another, so that its interval rests on the noise expected, not on any seen
 * - `outside reference`: it, or another that it is held against, was shot when the reference was not, so that a drift of
 *   the field may be in it
 */
export type Unsettled =
  | 'no shots'
  | 'interval too wide'
  | 'not determined'
  | 'others alone'
  | 'no majority'
  | 'datum disagrees'
  | 'noise assumed'
  | 'outside reference';

/** An instrument's constant of azimuth or index error of inclination, tested. */
export interface ConstantTest {
  verdict: 'in tolerance' | 'off' | 'not settled';
  why?: Unsettled;
  /**
   * What it is held against: zero where it is determined, unless it stands out more clearly from the others (differences
   * do not suffer from the datum); the others where only differences are determined. Absent where there is nothing.
   */
  against?: 'zero' | 'others';
  /**
   * Its value, where `against` is zero; or else less the mean of the others that were not found off. Absent without
   * `against`. What it is from zero all the same is in {@link AdjustedInstrument.constant} and `index`.
   */
  value?: Estimated;
  /** Of being right: by itself, and adjusted for all that is tested of all instruments (Holm). */
  p?: number;
  adjusted?: number;
  /** The whole 95 % interval lies outside what is allowed: not only off, but by too much. */
  surelyBeyond: boolean;
}

/**
 * How an instrument scatters: its own variance component, tested. `as others` and `as allowed` say that it was not found
 * to scatter more, no more than that.
 */
export interface ScatterTest {
  verdict: 'as others' | 'as allowed' | 'too noisy' | 'not settled';
  /** Standard deviation of one shot (of azimuth, on a level leg), with its 95 % interval and degrees of freedom. */
  sigma?: number;
  low?: number;
  high?: number;
  freedom: number;
  /** Its variance over that of the others, or over what is allowed. */
  ratio?: number;
  p?: number;
  adjusted?: number;
}

export interface AdjustedInstrument {
  instrument: string;
  verdict: InstrumentVerdict;
  shots: number;
  /** How many of its shots were named as blunders. */
  blunders: number;
  /**
   * What all its shots together fit, where they do not as they were given: inclinations with their signs changed, or each
   * shot from the other end of its leg. All else is worked out as if they were put right.
   */
  reversed?: 'sign changed' | 'other way';
  /** As the adjustment has them. */
  constant: Quantity;
  index: Quantity;
  tests: Record<Angle, { constant: ConstantTest; scatter: ScatterTest }>;
}

/** What one shot's angle came to. */
export interface AdjustedAngle {
  /** Shown less adjusted. */
  residual: number;
  /** Its standard deviation, scaled as the adjustment found. */
  sigma: number;
  /** Part of an error in this shot that shows in its own residual, 0 to 1; the rest goes into the answer unseen. */
  redundancy: number;
  /** Residual over its own standard deviation; absent where redundancy is nothing: then no blunder would show. */
  standardised?: number;
  /** Robust weight, 0 to 1. */
  weight: number;
}

export interface AdjustedShot {
  id: string;
  azimuth?: AdjustedAngle;
  inclination?: AdjustedAngle;
  /** Why the azimuth was left out though shown: too steep for it to have a meaning. */
  steep: boolean;
}

/** A shot that noise alone would hardly give. */
export interface Blunder {
  shot: string;
  instrument: string;
  angle: Angle;
  residual: number;
  standardised: number;
  /** Two-sided, adjusted for all shots of this angle (Bonferroni); named where it is at most 0.05. */
  p: number;
  /**
   * What it would fit instead, if anything, in both angles: the same leg shot the other way, another leg, or (in
   * inclination) the sign changed.
   */
  fits?: { as: 'other way' | 'sign changed' } | { as: 'other leg'; leg: string; way: Way };
}

/** A value known beforehand, as the adjustment sees it. */
export interface HeldAgainst {
  /** `station`: that it is clean; `stations`: that their disturbances come to nothing (its name is then empty). */
  what: 'leg' | 'instrument' | 'station' | 'stations';
  name: string;
  angle: Angle;
  /** Known less what all the rest says of it (residual over redundancy). Absent where nothing checks it. */
  away?: number;
  /** Absent where nothing checks it. */
  standardised?: number;
  /** Adjusted for all that is known (Holm). */
  p?: number;
}

/** Of all shots of one angle. */
export interface AngleSummary {
  /** Shots that have this angle. */
  shots: number;
  unknowns: number;
  /** How many directions there are in which the unknowns could move and no shot would change. */
  undetermined: number;
  /** Degrees of freedom: shots and known values, less unknowns, plus what is undetermined. */
  freedom: number;
  /** Standard deviation of one shot as found (of azimuth, on a level leg), over the instruments that are not too noisy. */
  noise: number;
  /** Of that; lower than `freedom` by the price of robust weights. */
  noiseFreedom: number;
  /** Global test: is the noise found what was expected (two-sided, at 0.05)? χ² = freedom × (found/expected)². */
  global: { statistic: number; freedom: number; p: number; verdict: 'as expected' | 'noisier' | 'quieter' | 'cannot tell' }; // prettier-ignore
  /** Sets of names within which differences are determined; one set alone does not make each determined. */
  comparable: { legs: string[][]; instruments: string[][]; stations: string[][] };
  /** Covariance of all unknowns; refused where any is not determined. */
  covariance: Covariance;
  iterations: number;
  converged: boolean;
}

export type Covariance =
  | { ok: true; unknowns: string[]; rows: number[][] }
  | { ok: false; cause: 'rank deficient'; undetermined: string[] };

/** How the field turned through the afternoon. */
export interface FieldDrift {
  /** Times (seconds) and by how much the field was turned there, from its mean over the timed shots between the first and the last; straight between. */
  knots: { time: number; value: number; error: number; half: number }[];
  /** Largest difference between two knots. */
  range: number;
  /** p-value of no drift, F-test of all knots together; absent where the readings do not determine it. */
  p?: number;
  verdict: 'drifts' | 'no drift seen' | 'cannot tell';
}

/**
 * - `all off alike`: every instrument that is held against zero is off, and none differs from the others: look at the
 *   datum first
 * - `known disagrees`: a value known beforehand does not fit the others and the shots
 * - `not converged`: the weights did not settle
 * - `times missing`: shots without time are taken as shot in a field at its mean
 * - `reference too short`: the reference has too few timed shots for a drift
 * - `others outside reference`: others were shot before its first timed shot or after its last
 */
export type CourseWarning =
  | 'all off alike'
  | 'known disagrees'
  | 'not converged'
  | 'times missing'
  | 'reference too short'
  | 'others outside reference';

export interface CourseAdjustment {
  ok: true;
  legs: AdjustedLeg[];
  instruments: AdjustedInstrument[];
  stations: AdjustedStation[];
  shots: AdjustedShot[];
  blunders: Blunder[];
  known: HeldAgainst[];
  drift?: FieldDrift;
  azimuth: AngleSummary;
  inclination: AngleSummary;
  warnings: CourseWarning[];
}

/**
 * - `no shots`: none has an angle
 * - `unknown name`: a shot, leg or term names a station, leg or instrument that the course has not
 * - `name twice`: two stations, legs, instruments or shots of one name, or one thing known twice
 * - `not a number`: an angle, time or standard deviation is not finite, or a standard deviation is negative (or nothing,
 *   of a shot)
 */
export interface CourseRefusal {
  ok: false;
  cause: 'no shots' | 'unknown name' | 'name twice' | 'not a number';
  message: string;
  next: string;
}
