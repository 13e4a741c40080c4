/**
 * What a calibration and its proof are held against. Degrees and ratios.
 *
 * `spread` is common practice in the trade (no published source). The others are ours: each lets through three
 * times the noise of an ordinary board (one thousandth of gravity, 0.2 % of the field) and stops the faults that
 * spread cannot see.
 */
export const TOLERANCE = {
  /** Mean spread over the sightings, degrees. */
  spread: 0.5,
  /** Half of the 95 % interval of azimuth × cos inclination, and of inclination, degrees. */
  interval: 0.5,
  /** Standard deviation of the length of the field over its mean. */
  field: 0.01,
  /** The same for gravity. */
  gravity: 0.005,
  /** Standard deviation of the dip, degrees. */
  dip: 0.5,
  /** Largest misfit of a reading the fit used: about one is normal. */
  misfit: 2.5,
  /** Noise found over noise declared, either way, before it is worth a word. */
  noiseRatio: 3,
  /** How far the field's mean length in the proof may be from that in the fit. */
  fieldChange: 0.02,
  /** The board's own angles against the app's from the same counts, degrees. */
  agreement: 0.01,
  /** Root mean square of the error against a simulated board's truth, degrees. */
  truth: 0.5,
} as const;

/** What spread, lengths and dip cannot show: said with every result. */
export const BLIND_TO = [
  'a magnetic disturbance that is the same for every reading, such as iron in the hill or in the stand: it turns all azimuths alike',
  'a disturbance that only turns the field sideways, alike for a whole sighting: it is the same as aiming elsewhere, so it shows nowhere, and does the coefficients no harm',
  'whether azimuths count from true north or grid north: they count from magnetic north, and declination is yours to apply',
  'temperatures, batteries and housings other than those of these readings',
] as const;

export const SPREAD_IS_BLIND =
  'spread alone: it does not see errors that do not turn with roll, so the field, gravity and dip must be constant too';
