import { degreesText, listed } from '../finding.ts';
import type { Glance } from '../board-glance.ts';
import { PLACES } from '../next-step.ts';
import { dayWords, timeWords } from '../time-words.ts';
import { STAGES } from '../../records/workshop-notes.ts';
import type { KitResult, KitRow, KitStage, WorkshopNow } from './roster.ts';

/** What the page of a workshop says of its kits, for whoever reads it from the back of the room. */

/** What is said of the kit to a person: who builds it, else which board it is, else where it lies. */
export const kitName = ({ builder, serial, place }: Pick<KitRow, 'builder' | 'serial' | 'place'>) =>
  builder || serial || (place ? `Place ${place}` : 'A kit without a name');

/** By what a kit is called across a room: its place, else its name. */
const shortName = (row: KitRow): string => row.place || kitName(row);

const FIELD_WORDS = { serial: 'serial number', builder: 'builder', place: 'place' } as const;

/** What is written in the lane of a kit: `words` large, `note` small. */
export interface LaneWords {
  words: string;
  note?: string;
}

export function laneWords(row: KitRow): LaneWords {
  const { trouble, work, stage, next, overruled } = row;
  const so = upperFirst(stage.words);
  const [gaveWay] = overruled;
  // what nobody has settled yet stands before what is only further news
  const seen = gaveWay
    ? `or is its ${FIELD_WORDS[gaveWay.field]} ${gaveWay.value}?`
    : seenWords(row);
  if (trouble !== undefined)
    return { words: upperFirst(trouble), ...(seen !== undefined && { note: seen }) };
  if (work !== undefined) return { words: work };
  const note =
    seen ??
    (stage.name === 'proven' && row.result
      ? `azimuth ±${degreesText(row.result.azimuth)}`
      : next && `next: ${lowerFirst(next)}`);
  return { words: so, ...(note !== undefined && { note }) };
}

/** Where the board is, if it is not at this bench, and from when its stage is known. */
export function seenWords({ whereabouts, asOf }: KitRow): string | undefined {
  const when = asOf === undefined ? '' : `, as of ${timeWords(asOf)}`;
  switch (whereabouts) {
    case 'elsewhere':
      return `at another computer${when}`;
    case 'put away':
      return `put away${when}`;
    case 'linked':
    case 'dropped out':
    case 'not seen':
      return undefined;
  }
}

/** How far a kit is, place by place of the path; `part` of the one that it is at, from 0 to 1, is done. */
export interface Lane {
  cells: readonly ('done' | 'now' | 'ahead')[];
  part: number;
}

export function laneOf({ name, step, progress }: KitStage): Lane {
  // a stage that has been reached is done, but readings are a stage for as long as they are taken
  const done = name === 'taking readings' ? step - 1 : step;
  return {
    cells: PLACES.map((_, i) => (i < done ? 'done' : i === done ? 'now' : 'ahead')),
    part: progress && progress.of > 0 ? Math.min(1, progress.done / progress.of) : 0,
  };
}

/** So many kits in trouble are named across the room. */
const MOST_NAMED = 6;

/** The whole workshop in a line, trouble first. */
export function tally({ kits, counts }: WorkshopNow): { shape: Glance['shape']; words: string }[] {
  const { linked, proven, trouble } = counts;
  const wrong = kits.filter((row) => row.trouble !== undefined).map(shortName);
  const named = wrong.slice(0, MOST_NAMED);
  const others = wrong.length - named.length;
  const lines: [number, Glance['shape'], string][] = [
    [
      trouble,
      'bad',
      `in trouble: ${listed([...named, ...(others > 0 ? [`${others} more`] : [])])}`,
    ],
    [linked - proven, 'now', 'under way'],
    [proven, 'good', 'proven'],
    [kits.length - linked, 'ahead', 'not linked yet'],
  ];
  return lines.flatMap(([count, shape, words]) =>
    count > 0 ? [{ shape, words: `${count} ${words}` }] : [],
  );
}

/** What came of a kit, for the sheet of results: a line each. */
export interface ResultWords {
  standing: 'good' | 'watch' | 'bad' | 'ahead';
  verdict: string;
  /** Half of the 95 % interval of azimuth and of inclination; empty where there is none. */
  azimuth: string;
  inclination: string;
  spread: string;
  temperature: string;
  written: string;
}

export function resultWords(row: KitRow): ResultWords {
  const { result } = row;
  if (!result) {
    const { trouble, stage } = row;
    const verdict = `No result: ${trouble ?? stage.words}`;
    return { standing: trouble === undefined ? 'ahead' : 'bad', verdict, azimuth: '', inclination: '', spread: '', temperature: '', written: '' }; // prettier-ignore
  }
  const { azimuth, inclination, meanSpread, temperature, generation, sealed } = result;
  return {
    ...verdictOf(row, result),
    azimuth: `±${degreesText(azimuth)}`,
    inclination: `±${degreesText(inclination)}`,
    spread: meanSpread === undefined ? '' : degreesText(meanSpread),
    temperature: temperature ? temperatureWords(temperature) : '',
    written: [
      generation === undefined ? '' : `generation ${generation}`,
      sealed && dayWords(sealed),
    ]
      .filter(Boolean)
      .join(', '),
  };
}

function verdictOf(
  { stage }: KitRow,
  { judged, proof, generation, against }: KitResult,
): Pick<ResultWords, 'standing' | 'verdict'> {
  if (proof && !proof.passed) return { standing: 'bad', verdict: 'Proof not passed' };
  if (stage.step >= STAGES.indexOf('written') && proof) {
    const verdict = `Proven on ${proof.readings} fresh readings`;
    if (!proof.holds) return { standing: 'bad', verdict: `${verdict}, but not for the tolerance` };
    if (against !== undefined) return { standing: 'bad', verdict: `${verdict}, but ${against}` };
    return judged === 'bad'
      ? { standing: 'bad', verdict: `${verdict}, but not good enough for the tolerance` }
      : { standing: 'good', verdict };
  }
  if (generation !== undefined) return { standing: 'watch', verdict: 'Written, not proven' };
  return judged === 'bad'
    ? { standing: 'bad', verdict: 'Not good enough, not written' }
    : { standing: 'watch', verdict: 'Fitted, not written' };
}

function temperatureWords({ coldest, warmest }: NonNullable<KitResult['temperature']>): string {
  const [from, to] = [celsius(coldest), celsius(warmest)];
  return from === to ? `${to}\u00A0°C` : `${from} to ${to}\u00A0°C`;
}

const celsius = (value: number): string => value.toFixed(1).replace('-', '−');
const upperFirst = (words: string): string => words.slice(0, 1).toUpperCase() + words.slice(1);
const lowerFirst = (words: string): string => words.slice(0, 1).toLowerCase() + words.slice(1);
