import { degrees } from '../calib/geometry.ts';
import { passedOverWords, readLegs, readShots, type FileShot } from '../records/course-csv.ts';
import type { CourseLeg, CourseResult, CourseTerms } from '../records/course-notes.ts';
import { courseFromShots, shotsOnCourse } from '../steps/course/course-from-file.ts';
import {
  deviationWords,
  disturbanceWords,
  offsetWords,
  quantityWords,
  scatterWords,
} from '../steps/course/course-words.ts';
import { settle, type Declination } from '../steps/course/settling.ts';
import { earthField, type GeoPlace } from '../steps/site/earth-field.ts';
import { readBytes } from './files.ts';
import { kindOf } from './input-files.ts';
import { failed, UsageError, type Outcome } from './outcome.ts';

export interface CourseCommand {
  shots: string;
  json: boolean;
  /** A file of legs and what is known of them. */
  legs?: string;
  /** What is said of the stations. */
  stations: CourseTerms['stations'];
  reference?: { name: string; asRight?: number };
  /** Degrees. */
  tolerance: number;
  /** Declination, or what it follows from. */
  declination?: Declination;
  at?: { place: GeoPlace; day: string };
  convergence?: number;
}

/** `course`: shots of several instruments on a check course in, what each instrument comes to out. */
export function course(command: CourseCommand): Outcome {
  const shots = shotsIn(command.shots);
  if (!shots.ok) return failed(shots.message);
  const legs =
    command.legs === undefined
      ? { ok: true as const, legs: [], passedOver: [] }
      : legsIn(command.legs);
  if (!legs.ok) return failed(legs.message);
  const isGrid = legs.legs.some(({ azimuth }) => azimuth?.north === 'grid');
  if (isGrid && command.convergence === undefined) {
    throw new UsageError('--convergence is missing: a bearing counts from grid north');
  }
  const layout = courseFromShots(shots.shots, legs.legs, command.convergence);
  checkNames(command, layout.stations, shots.shots);
  const all = shotsOnCourse(shots.shots, layout, command.shots);
  const kept = all.filter(({ setAside }) => setAside === undefined);
  const { reference } = command;
  const terms: CourseTerms = {
    stations: command.stations,
    tolerance: command.tolerance,
    ...(reference && {
      reference: {
        instrument: { name: reference.name },
        ...(reference.asRight !== undefined && { asRight: reference.asRight }),
      },
    }),
  };
  const settled = settle(layout, terms, kept, declinationOf(command));
  if (!settled.ok) return failed(`${command.shots}: ${settled.message}`);
  const passedOver = [
    { path: command.shots, columns: shots.passedOver },
    { path: command.legs, columns: legs.passedOver },
  ].flatMap(({ path, columns }) =>
    columns.length > 0 ? [`${path}: ${passedOverWords(columns)}`] : [],
  );
  const result = { ...settled.result, warnings: [...passedOver, ...settled.result.warnings] };
  const head = { shots: kept.length, setAside: all.length - kept.length };
  const out = command.json
    ? `${JSON.stringify(inJson(result, head), null, 2)}\n`
    : inWords(result, head);
  return { code: 0, out };
}

function shotsIn(
  path: string,
):
  | { ok: true; shots: readonly FileShot[]; passedOver: readonly string[] }
  | { ok: false; message: string } {
  const input = readBytes(path);
  if (!input.ok) return input;
  const read = readShots(input.bytes);
  return read.ok ? read : { ok: false, message: notThat(path, input.bytes, 'shots', read.message) };
}

function legsIn(
  path: string,
):
  | { ok: true; legs: readonly CourseLeg[]; passedOver: readonly string[] }
  | { ok: false; message: string } {
  const input = readBytes(path);
  if (!input.ok) return input;
  const read = readLegs(input.bytes);
  return read.ok ? read : { ok: false, message: notThat(path, input.bytes, 'legs', read.message) };
}

function notThat(path: string, bytes: Uint8Array, wanted: string, fault: string): string {
  const found = kindOf(bytes);
  return found === undefined
    ? `${path}: ${fault}`
    : `${path} holds ${found === 'board' ? 'what was on a board' : found}, and a file of ${wanted} belongs in its place. Nothing was changed.`;
}

/** @throws UsageError where an option names what no shot has */
function checkNames(
  { stations, reference }: CourseCommand,
  names: readonly string[],
  shots: readonly FileShot[],
): void {
  const clean = typeof stations === 'object' && 'clean' in stations ? stations.clean : [];
  const unknown = clean.find((name) => !names.includes(name));
  if (unknown !== undefined) throw new UsageError(`--clean names ${unknown}, which is no station of the course`); // prettier-ignore
  if (reference && !shots.some(({ instrument }) => instrument === reference.name)) {
    throw new UsageError(`--reference names ${reference.name}, which has no shot`);
  }
}

function declinationOf({ declination, at }: CourseCommand): Declination | undefined {
  if (declination || !at) return declination;
  const field = earthField(at.place, new Date(`${at.day}T12:00:00Z`));
  return {
    degrees: degrees(field.declination),
    sigma: degrees(field.standardErrors.declination),
    model: field.model,
  };
}

interface Head {
  shots: number;
  setAside: number;
}

/** Degrees throughout. */
function inJson({ doubted, ...result }: CourseResult, head: Head) {
  return {
    ...head,
    ...result,
    instruments: result.instruments.map(({ instrument, ...rest }) => ({
      instrument: 'name' in instrument ? instrument.name : instrument.board,
      ...rest,
    })),
    doubted: doubted.map(({ shot, words }) => ({ line: Number(shot), words })),
  };
}

function inWords(result: CourseResult, { shots, setAside }: Head): string {
  const { instruments, stations, legs, doubted, precision, drift } = result;
  const list = (title: string, lines: readonly string[]) =>
    lines.length === 0 ? [] : ['', title, ...lines.map((line) => `- ${line}`)];
  const named = instruments.flatMap((each) => [
    `${'name' in each.instrument ? each.instrument.name : each.instrument.board}: ${each.verdict}`,
    `  azimuth ${offsetWords(each, 'azimuth')}; inclination ${offsetWords(each, 'inclination')}; one shot scatters by ${scatterWords(each)} (${counted(each.shots, 'shot')})`,
    ...each.words.map((words) => `  ${words}`),
  ]);
  const alike = (name: string, { repeatability, reproducibility }: CourseResult['precision']['azimuth']) =>
    `${name}: repeatability ${deviationWords(repeatability)}, reproducibility ${deviationWords(reproducibility)}`; // prettier-ignore
  return [
    `${counted(shots, 'shot')} of ${counted(instruments.length, 'instrument')}${setAside === 0 ? '' : `; ${setAside} set aside`}. ± is half of the 95 % interval.`,
    '',
    'Instruments (what each shows too much)',
    ...named,
    ...list(
      'Stations (by how much azimuths shot there show too much)',
      stations.map(
        (each) =>
          `${each.station}: ${disturbanceWords(each)}${each.disturbs ? ', it turns the field' : ''}`,
      ),
    ),
    ...list(
      'Legs (azimuth from magnetic north, inclination)',
      legs.map(
        ({ from, to, azimuth, inclination }) =>
          `${from} to ${to}: ${quantityWords(azimuth, true)}; ${quantityWords(inclination, false)}`,
      ),
    ),
    ...list('One shot (ISO 5725)', [
      alike('azimuth', precision.azimuth),
      alike('inclination', precision.inclination),
    ]),
    ...(drift
      ? list('The field through the day', [
          `turned by up to ${drift.range.toFixed(2)}°: ${drift.verdict}`,
        ])
      : []),
    ...list(
      'Shots that look wrong',
      doubted.map(({ shot, words }) => `line ${shot}: ${words}`),
    ),
    ...list('Not determined', result.notDetermined),
    ...list('Warnings', result.warnings),
    ...list('What this cannot see', result.blindTo),
    '',
  ]
    .join('\n')
    .replaceAll('\u00a0', ' '); // a terminal breaks no lines
}

const counted = (count: number, what: string): string =>
  `${count} ${what}${count === 1 ? '' : 's'}`;
