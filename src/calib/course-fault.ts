import type { Course, CourseRefusal, CourseTerms } from './check-course.ts';

/** What keeps a course from being adjusted; undefined where nothing does. */
export function courseFault(course: Course, terms: CourseTerms): CourseRefusal | undefined {
  const { stations, legs, instruments, shots } = course;
  const lists: [what: string, names: readonly string[]][] = [
    ['station', stations],
    ['leg', legs.map(({ id }) => id)],
    ['instrument', instruments],
    ['shot', shots.map(({ id }) => id)],
    ['known leg', (terms.legs ?? []).map(({ leg }) => leg)],
    ['known instrument', (terms.instruments ?? []).map(({ instrument }) => instrument)],
    ['clean station', cleanStations(terms).map(({ station }) => station)],
  ];
  for (const [what, names] of lists) {
    const twice = names.find((name, i) => names.indexOf(name) !== i);
    if (twice !== undefined) return refusal('name twice', `There are two of ${what} “${twice}”.`);
  }
  const has = {
    station: new Set(stations),
    leg: new Set(legs.map(({ id }) => id)),
    instrument: new Set(instruments),
  };
  const named: [what: keyof typeof has, name: string][] = [
    ...legs.flatMap(({ from, to }): [what: 'station', name: string][] => [
      ['station', from],
      ['station', to],
    ]),
    ...shots.flatMap(({ leg, instrument }): [what: keyof typeof has, name: string][] => [
      ['leg', leg],
      ['instrument', instrument],
    ]),
    ...(terms.legs ?? []).map(({ leg }) => ['leg', leg] as ['leg', string]),
    ...(terms.instruments ?? []).map(
      ({ instrument }) => ['instrument', instrument] as ['instrument', string],
    ),
    ...cleanStations(terms).map(({ station }) => ['station', station] as ['station', string]),
    ...(terms.reference === undefined
      ? []
      : [['instrument', terms.reference] as ['instrument', string]]),
  ];
  const stray = named.find(([what, name]) => !has[what].has(name));
  if (stray) return refusal('unknown name', `The course has no ${stray[0]} “${stray[1]}”.`);

  const { noise, tolerance, disturbances, declinationSigma = 0 } = terms;
  const known = [...(terms.legs ?? []), ...(terms.instruments ?? [])].flatMap(
    ({ azimuth, inclination }) => [azimuth ?? [], inclination ?? []].flat(),
  );
  const finite = [
    ...shots.flatMap(({ azimuth, inclination, time }) => [azimuth, inclination, time]),
    ...known.map(({ value }) => value),
  ];
  const notNegative = [
    ...known.map(({ sigma }) => sigma),
    ...cleanStations(terms).map(({ sigma }) => sigma),
    disturbances?.by === 'zero mean' ? disturbances.sigma : 0,
    declinationSigma,
    tolerance.azimuth,
    tolerance.inclination,
  ];
  const positive = [
    ...shots.flatMap(({ sigma }) => [sigma?.azimuth, sigma?.inclination]),
    ...[noise, tolerance.scatter].flatMap((each) => [each?.azimuth, each?.inclination]),
    terms.level,
  ];
  const isBad =
    finite.some((value) => value !== undefined && !Number.isFinite(value)) ||
    notNegative.some((value) => !(value >= 0 && Number.isFinite(value))) ||
    // standard deviations of shots under a ten-thousandth of a degree are no measurement's
    positive.some((value) => value !== undefined && !(value >= 1e-6 && Number.isFinite(value)));
  if (isBad) {
    return refusal('not a number', 'An angle, a time or a standard deviation is not one.');
  }
  const isEmpty = shots.every(
    ({ azimuth, inclination }) => azimuth === undefined && inclination === undefined,
  );
  return isEmpty ? refusal('no shots', 'There is no shot with an angle.') : undefined;
}

const cleanStations = ({ disturbances }: CourseTerms) =>
  disturbances?.by === 'clean stations' ? disturbances.stations : [];

const NEXT = {
  'no shots': 'Shoot each leg from both ends, with every instrument.',
  'unknown name': 'Name it as the course does, or add it to the course.',
  'name twice': 'Give each a name of its own, and say once what is known of it.',
  'not a number': 'Look at the values typed or read from a file.',
} as const;

const refusal = (cause: CourseRefusal['cause'], message: string): CourseRefusal => ({
  ok: false,
  cause,
  message,
  next: NEXT[cause],
});
