import { readLegLines, writeLegs } from '../../records/course-csv.ts';
import {
  instrumentKey,
  type CourseInstrument,
  type CourseLayout,
  type CourseTerms,
} from '../../records/course-notes.ts';

/** What a person writes into the forms of a check course, as text, and what that means. */

export interface LayoutForm {
  name: string;
  /** A line each: from, to; then azimuth, its uncertainty, north, inclination, its uncertainty, as far as known. */
  legs: string;
  each: string;
  latitude: string;
  longitude: string;
  height: string;
  convergence: string;
}

export interface TermsForm {
  stations: 'nothing' | 'clean' | 'zero mean';
  /** Names, with commas between. */
  clean: string;
  sigma: string;
  /** By its key; empty for none. */
  reference: string;
  isRight: boolean;
  rightTo: string;
  tolerance: string;
}

export interface ShotForm {
  instrument: string;
  azimuth: string;
  inclination: string;
}

export type Read<T> = { ok: true; value: T } | { ok: false; problems: readonly string[] };

export const EMPTY_LAYOUT: LayoutForm = {
  name: '',
  legs: '',
  each: '2',
  latitude: '',
  longitude: '',
  height: '',
  convergence: '',
};

export function layoutForm(layout: CourseLayout): LayoutForm {
  const { name, legs, each, place, convergence } = layout;
  const lines = writeLegs(legs).split('\n').slice(1);
  return {
    name,
    legs: lines
      .map((line) => line.replace(/,+$/, ''))
      .join('\n')
      .trimEnd(),
    each: String(each),
    latitude: place ? String(place.latitude) : '',
    longitude: place ? String(place.longitude) : '',
    height: place ? String(place.height) : '',
    convergence: convergence === undefined ? '' : String(convergence),
  };
}

/** @param before what is changed; stations that are still there keep their order */
export function layoutOf(form: LayoutForm, before?: CourseLayout): Read<CourseLayout> {
  const problems: string[] = [];
  const name = form.name.trim().slice(0, 200).toWellFormed();
  if (name === '') problems.push('The course wants a name.');
  const read = readLegLines(form.legs);
  if (!read.ok) problems.push(`Legs, ${read.message.replace(' Nothing was changed.', '')}`);
  const legs = read.ok ? read.legs : [];
  if (read.ok && legs.length === 0) problems.push('At least one leg is wanted.');
  const each = number(form.each, 'How often each leg is shot from either end', 1, 10, problems);
  if (!Number.isInteger(each) && !Number.isNaN(each)) {
    problems.push('How often each leg is shot must be a whole number.');
  }
  const where = [form.latitude, form.longitude, form.height].map((text) => text.trim());
  const isPlaced = where.some((text) => text !== '');
  const place = isPlaced && {
    latitude: number(form.latitude, 'Latitude', -90, 90, problems),
    longitude: number(form.longitude, 'Longitude', -180, 180, problems),
    height: where[2] === '' ? 0 : number(form.height, 'Height', -500, 9000, problems),
  };
  const isGrid = legs.some(({ azimuth }) => azimuth?.north === 'grid');
  const convergence =
    form.convergence.trim() === ''
      ? undefined
      : number(form.convergence, 'Convergence', -45, 45, problems);
  if (isGrid && convergence === undefined) {
    problems.push('A bearing counts from grid north: say the convergence there.');
  }
  if (problems.length > 0) return { ok: false, problems };
  const stations = [
    ...new Set([
      ...(before?.stations.filter((each) =>
        legs.some(({ from, to }) => each === from || each === to),
      ) ?? []),
      ...legs.flatMap(({ from, to }) => [from, to]),
    ]),
  ];
  return {
    ok: true,
    value: {
      name,
      stations,
      legs,
      each,
      ...(place && { place }),
      ...(convergence !== undefined && { convergence }),
      ...(before?.madeUp && { madeUp: before.madeUp }),
    },
  };
}

export function termsForm({ stations, reference, tolerance }: CourseTerms): TermsForm {
  const form: TermsForm = {
    stations: 'nothing',
    clean: '',
    sigma: '0.1',
    reference: reference ? instrumentKey(reference.instrument) : '',
    isRight: reference?.asRight !== undefined,
    rightTo: String(reference?.asRight ?? 0.1),
    tolerance: String(tolerance),
  };
  if (stations === 'nothing said') return form;
  if ('clean' in stations) {
    return {
      ...form,
      stations: 'clean',
      clean: stations.clean.join(', '),
      sigma: String(stations.sigma),
    };
  }
  return { ...form, stations: 'zero mean', sigma: String(stations.zeroMean) };
}

export function termsOf(
  form: TermsForm,
  layout: CourseLayout,
  instruments: readonly CourseInstrument[],
): Read<CourseTerms> {
  const problems: string[] = [];
  const tolerance = number(form.tolerance, 'What an instrument may be off by', 0.01, 10, problems);
  const sigma =
    form.stations === 'nothing' ? 0 : number(form.sigma, 'How well that is known', 0, 10, problems);
  const clean = form.clean.split(',').flatMap((name) => name.trim() || []);
  if (form.stations === 'clean') {
    if (clean.length === 0) problems.push('Name at least one clean station.');
    for (const name of clean) {
      if (!layout.stations.includes(name)) problems.push(`The course has no station “${name}”.`);
    }
  }
  const instrument = instruments.find((each) => instrumentKey(each) === form.reference);
  if (form.reference !== '' && !instrument) problems.push('That instrument has no shot here.');
  const asRight =
    instrument && form.isRight
      ? number(form.rightTo, 'How right the reference is', 0, 10, problems)
      : undefined;
  if (problems.length > 0) return { ok: false, problems };
  return {
    ok: true,
    value: {
      stations:
        form.stations === 'clean'
          ? { clean, sigma }
          : form.stations === 'zero mean'
            ? { zeroMean: sigma }
            : 'nothing said',
      ...(instrument && { reference: { instrument, ...(asRight !== undefined && { asRight }) } }),
      tolerance,
    },
  };
}

/** A shot that was read off an instrument; one of both angles will do. */
export function anglesOf(
  form: ShotForm,
): Read<{ name: string; azimuth?: number; inclination?: number }> {
  const problems: string[] = [];
  const name = form.instrument.trim().slice(0, 100).toWellFormed();
  if (name === '') problems.push('Say which instrument it was.');
  const optional = (text: string, what: string, least: number, most: number) =>
    text.trim() === '' ? undefined : number(text, what, least, most, problems);
  const azimuth = optional(form.azimuth, 'Azimuth', 0, 360);
  const inclination = optional(form.inclination, 'Inclination', -90, 90);
  if (form.azimuth.trim() === '' && form.inclination.trim() === '') {
    problems.push('Write down the azimuth, the inclination, or both.');
  }
  if (problems.length > 0) return { ok: false, problems };
  return {
    ok: true,
    value: {
      name,
      ...(azimuth !== undefined && { azimuth: azimuth % 360 }),
      ...(inclination !== undefined && { inclination }),
    },
  };
}

/** A decimal comma will do where a decimal point would. */
function number(
  text: string,
  what: string,
  least: number,
  most: number,
  problems: string[],
): number {
  const plain = text.trim().replace('−', '-').replace(',', '.').replace('°', '');
  const value = /^[+-]?(\d+\.?\d*|\.\d+)$/.test(plain) ? Number(plain) : NaN;
  if (value >= least && value <= most) return value;
  problems.push(`${what} must be a number from ${least} to ${most}.`);
  return NaN;
}
