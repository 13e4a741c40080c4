/**
 * Units that a sheet of readings may be written in, each by its exact definition. Sensor values are kept as counts of a
 * stated scale: thousandths of standard gravity, and nanotesla.
 *
 * Definitions: standard gravity gₙ = 9.806 65 m/s² (3rd CGPM, 1901); gauss, gon, mil (6400 to the turn) and degree
 * Fahrenheit as in NIST Special Publication 811, 2008 edition, appendix B.8 (all of them exact there).
 */

/** What one of a unit is, in what is kept. */
const ACC = { counts: 1, g: 1000, 'm/s²': 1000 / 9.80665, mg: 1 } as const;
const MAG = { counts: 1, µT: 1000, nT: 1, gauss: 100_000, mG: 100 } as const;
/** In degrees. */
const ANGLE = { degrees: 1, gon: 360 / 400, mil: 360 / 6400 } as const;
const TEMPERATURE = { '°C': true, '°F': true } as const;

export type AccUnit = keyof typeof ACC;
export type MagUnit = keyof typeof MAG;
export type AngleUnit = keyof typeof ANGLE;
export type TemperatureUnit = keyof typeof TEMPERATURE;

export interface SheetUnits {
  acc?: AccUnit;
  mag?: MagUnit;
  angle?: AngleUnit;
  temperature?: TemperatureUnit;
}

export type Quantity = keyof SheetUnits;

/** All units of each quantity, in the order in which they are offered. */
export const UNITS: { readonly [Q in Quantity]: readonly NonNullable<SheetUnits[Q]>[] } = {
  acc: keys(ACC),
  mag: keys(MAG),
  angle: keys(ANGLE),
  temperature: keys(TEMPERATURE),
};

function keys<T extends object>(object: T): readonly (keyof T)[] {
  return Object.keys(object) as (keyof T)[];
}

/**
 * What counts made from physical units are divided by, so that they are of order one: 1 g in thousandths, and 50 µT in
 * nanotesla, which is about the Earth's field.
 */
export const PHYSICAL_SCALES = { acc: 1000, mag: 50_000 } as const;

export const accCounts = (value: number, unit: AccUnit): number => value * ACC[unit];
export const magCounts = (value: number, unit: MagUnit): number => value * MAG[unit];
export const inDegrees = (value: number, unit: AngleUnit): number => value * ANGLE[unit];
export const inCelsius = (value: number, unit: TemperatureUnit): number =>
  unit === '°C' ? value : (value - 32) / 1.8;

/** Other ways in which people write a unit, in lower case and without blanks. */
const SPELLINGS: { readonly [Q in Quantity]: Readonly<Record<string, SheetUnits[Q]>> } = {
  acc: {
    count: 'counts',
    lsb: 'counts',
    raw: 'counts',
    'm/s2': 'm/s²',
    'm/s^2': 'm/s²',
    ms2: 'm/s²',
  },
  mag: { count: 'counts', lsb: 'counts', raw: 'counts', ut: 'µT', μt: 'µT', microtesla: 'µT' },
  angle: { '°': 'degrees', deg: 'degrees', degree: 'degrees', grad: 'gon', mils: 'mil' },
  temperature: { c: '°C', degc: '°C', celsius: '°C', f: '°F', degf: '°F', fahrenheit: '°F' },
};

/** The unit that a text names; undefined where it names none of that quantity. A lone "G" is gauss, "g" gravity. */
export function unitNamed<Q extends Quantity>(
  text: string,
  quantity: Q,
): SheetUnits[Q] | undefined {
  const trimmed = text.replace(/\s/g, '');
  if (quantity === 'mag' && trimmed === 'G') return 'gauss' as SheetUnits[Q];
  const plain = trimmed.toLowerCase();
  const named = (UNITS[quantity] as readonly NonNullable<SheetUnits[Q]>[]).find(
    (unit) => unit.toLowerCase() === plain,
  );
  return (
    named ?? (Object.hasOwn(SPELLINGS[quantity], plain) ? SPELLINGS[quantity][plain] : undefined)
  );
}
