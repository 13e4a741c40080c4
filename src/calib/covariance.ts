/** Standard errors that follow from the readings and the noise found. Radians. */
export interface Uncertainty {
  /** Root mean square over all rolls and directions (uniform by area to ±70° inclination) of azimuth error × cos inclination. */
  azimuth: number;
  /** The same for inclination. */
  inclination: number;
  /** Standard error of (azimuth × cos inclination, inclination) at one attitude, radians in and out. */
  at(azimuth: number, inclination: number, roll: number): { azimuth: number; inclination: number };
}
