/** The parts of npm geomagnetism 0.2.0 that take coefficients of one's own; its own types name only the ready-made models. */
declare module 'geomagnetism/lib/model.js' {
  /** Coefficients lie at n(n+1)/2 + m, nT; what stands at 0 is not used. */
  export default class Model {
    constructor(options: {
      main_field_coeff_g: readonly number[];
      main_field_coeff_h: readonly number[];
      n_max: number;
    });
    /** @param coords latitude and longitude in degrees, height in kilometres. Gives nT, and degrees. */
    point(coords: readonly [number, number, number]): {
      f: number;
      h: number;
      incl: number;
      decl: number;
    };
  }
}
