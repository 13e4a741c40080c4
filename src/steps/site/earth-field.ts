import wmm2025 from 'geomagnetism/data/wmm-2025.json' with { type: 'json' };
import Model from 'geomagnetism/lib/model.js';

/** A place on the earth. */
export interface GeoPlace {
  /** Degrees, north positive. */
  latitude: number;
  /** Degrees, east positive. */
  longitude: number;
  /**
   * Metres above the WGS 84 ellipsoid. Height above the sea serves as well: they differ by some 100 m at most, which is
   * some 3 nT of the field's strength.
   */
  height: number;
}

/**
 * Coefficients of the earth's field: spherical harmonics up to degree `degree`, in nT at the epoch and nT a year, each at
 * n(n+1)/2 + m.
 */
export interface FieldModel {
  name: string;
  /** Decimal year from which it holds, for {@link YEARS_OF_A_MODEL} years. */
  epoch: number;
  degree: number;
  g: readonly number[];
  h: readonly number[];
  gPerYear: readonly number[];
  hPerYear: readonly number[];
}

/** The field of the earth at one place and date, without what stands or lies around there. */
export interface EarthField {
  /** Magnetic north from true north, radians, east positive. */
  declination: number;
  /** Below the horizontal, radians, down positive. */
  dip: number;
  /** nT. */
  strength: number;
  /**
   * How far the field of a magnetically quiet place may be from these, as standard errors in the same units: those of
   * WMM2025 by its technical report (quoted at second hand), taken for a later model too. They hold the rocks below and
   * a quiet sky; not a magnetic storm, and nothing made by people.
   */
  standardErrors: { declination: number; dip: number; strength: number };
  /** Whether the model covers the date. Where it does not, the figures are the nearest it can say, and drift off. */
  valid: boolean;
  /** The model, by name, and what it covers: decimal years, the last not included. */
  model: string;
  covers: { from: number; until: number };
}

/** A World Magnetic Model is made for five years (NOAA/NCEI, format of the coefficient file). */
export const YEARS_OF_A_MODEL = 5;

const RADIANS = Math.PI / 180;

/** The World Magnetic Model of 2025 (NOAA/NCEI and BGS), by way of npm geomagnetism. */
export const WMM_2025: FieldModel = {
  name: wmm2025.name,
  epoch: wmm2025.epoch,
  degree: wmm2025.n_max,
  g: wmm2025.main_field_coeff_g,
  h: wmm2025.main_field_coeff_h,
  gPerYear: wmm2025.secular_var_coeff_g,
  hPerYear: wmm2025.secular_var_coeff_h,
};

/** The date as a decimal year, UTC, as the World Magnetic Model counts: 1 July 2027 is about 2027.5. */
export function decimalYear(date: Date): number {
  const year = date.getUTCFullYear();
  const start = Date.UTC(year);
  return year + (date.getTime() - start) / (Date.UTC(year + 1) - start);
}

/**
 * The earth's field.
 *
 * @param model coefficients to use in place of those of WMM2025
 */
export function earthField(place: GeoPlace, date: Date, model: FieldModel = WMM_2025): EarthField {
  const year = decimalYear(date);
  const covers = { from: model.epoch, until: model.epoch + YEARS_OF_A_MODEL };
  const now = (main: readonly number[], perYear: readonly number[]) =>
    main.map((value, i) => value + (year - model.epoch) * perYear[i]!);
  const { f, h, incl, decl } = new Model({
    main_field_coeff_g: now(model.g, model.gPerYear),
    main_field_coeff_h: now(model.h, model.hPerYear),
    n_max: model.degree,
  }).point([place.latitude, place.longitude, place.height / 1000]);
  return {
    declination: decl * RADIANS,
    dip: incl * RADIANS,
    strength: f,
    standardErrors: {
      declination: Math.hypot(0.26, 5417 / h) * RADIANS,
      dip: 0.2 * RADIANS,
      strength: 138,
    },
    valid: year >= covers.from && year < covers.until,
    model: model.name,
    covers,
  };
}
