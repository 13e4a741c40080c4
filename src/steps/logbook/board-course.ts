import type { Entry, EntryOf, StoredEntry } from '../../records/entries.ts';
import { assemblyVerdict, findingWords } from '../assembly/finding-words.ts';
import { foldCalibration, type BoardHistory, type CalibrationState } from '../calibration-state.ts';
import { checkTitle, figureWords, heldAgainst } from '../checks/check-words.ts';
import { sourceWords } from '../comparison-words.ts';
import { without } from '../copy-without.ts';
import { listed } from '../finding.ts';
import { judgementOf } from '../judgement.ts';
import { proofWords } from '../proof.ts';
import { placeWords, siteFigure, siteVerdict } from '../site/site-words.ts';
import { isDay } from '../time-words.ts';
import { ORDINARY_TOLERANCE, toleranceName } from '../tolerance.ts';

/** What happened to a board, as a list that a person reads from top to bottom. */

export type CourseMark = 'good' | 'watch' | 'bad' | 'plain';

export interface CourseItem {
  /** Names it among the items of its board, for as long as entries are only added. */
  key: string;
  /** When it was, ISO 8601: a moment, or the day that a person gave. */
  when: string;
  title: string;
  /** A sentence each. */
  words: readonly string[];
  mark: CourseMark;
  /** The calibration it tells of, where that can be opened. */
  calibration?: string;
  /** It was fitted, so that there is a report of it. */
  isFitted?: true;
  /** The remark it is, where that can be withdrawn. */
  remark?: string;
  /** A remark that was withdrawn. */
  withdrawn?: true;
}

/**
 * The course of a board, the newest first.
 *
 * @param entries of one board, in reading order
 */
export function courseOf(entries: readonly StoredEntry[]): CourseItem[] {
  const own = byCalibration(entries);
  const withdrawn = new Set(
    entries.flatMap((entry) => (entry.kind === 'remark withdrawn' ? [entry.of] : [])),
  );
  const course: CourseItem[] = [];
  let seen: Seen = {};
  for (const entry of entries) {
    const told = telling(entry, seen, own);
    // a memory is saved some readings at a time
    if (told && entry.kind === 'memory saved' && seen.saved) course.pop();
    seen = afterSeeing(seen, entry, told !== undefined);
    if (!told) continue;
    const remark = isRemark(entry) ? entry.id : undefined;
    course.push({
      key: String(entry.number),
      when: (isRemark(entry) ? entry.on : undefined) ?? entry.time,
      ...told,
      ...(remark !== undefined &&
        (withdrawn.has(remark) ? { withdrawn: true as const } : { remark })),
    });
  }
  return inTimeOrder(course);
}

type Told = Pick<CourseItem, 'title' | 'words' | 'mark' | 'calibration' | 'isFitted'>;

/** What was told of the board before, as far as it changes what an entry means. */
interface Seen {
  /** How many readings were saved just before, with nothing told since. */
  saved?: { readings: number; unreadable: number };
  firmware?: string;
  crc?: string;
  /** Check of what is to be in force, where that was begun. */
  begun?: string;
  settings?: EntryOf<'settings begun'>;
  rename?: EntryOf<'rename begun'>;
  update?: EntryOf<'update begun'>;
}

function afterSeeing(before: Seen, entry: Entry, told: boolean): Seen {
  const seen = told ? without(before, 'saved') : before;
  switch (entry.kind) {
    case 'board linked':
      return { ...seen, firmware: entry.identity.firmware };
    case 'coefficients saved':
      return entry.inForce ? { ...seen, crc: entry.inForce.crc } : without(seen, 'crc');
    case 'memory saved':
      return told ? { ...seen, saved: savedWith(entry, before) } : seen;
    case 'seal begun':
    case 'revert begun':
    case 'restore begun':
      return { ...seen, begun: entry.crc };
    case 'sealed':
    case 'reverted':
    case 'restored':
      return { ...without(seen, 'begun'), crc: entry.crc };
    case 'settings begun':
      return { ...seen, settings: entry };
    case 'rename begun':
      return { ...seen, rename: entry };
    case 'update begun':
      return { ...seen, update: entry };
    default:
      return seen;
  }
}

const isRemark = (entry: Entry): entry is EntryOf<'note' | 'battery changed' | 'knocked'> =>
  entry.kind === 'note' || entry.kind === 'battery changed' || entry.kind === 'knocked';

const savedWith = (
  { readings, unreadable = [] }: EntryOf<'memory saved'>,
  { saved = { readings: 0, unreadable: 0 } }: Seen,
) => ({
  readings: saved.readings + readings.length,
  unreadable: saved.unreadable + unreadable.length,
});

/** What is told of an entry; nothing of those that another says better. */
function telling(
  entry: StoredEntry,
  seen: Seen,
  own: ReadonlyMap<string, readonly StoredEntry[]>,
): Told | undefined {
  const tell = (
    title: string,
    words: readonly string[] = [],
    mark: CourseMark = 'plain',
  ): Told => ({ title, words, mark });
  switch (entry.kind) {
    case 'board linked': {
      const { hardware, firmware } = entry.identity;
      if (seen.firmware === undefined) {
        return tell('Linked here for the first time', [
          `Hardware ${hardware}, firmware ${firmware}.`,
        ]);
      }
      if (seen.firmware === firmware) return undefined;
      return tell('Firmware changed', [`It runs ${firmware}; before, ${seen.firmware}.`], 'watch');
    }
    case 'coefficients saved': {
      const { inForce } = entry;
      if (inForce?.crc === seen.crc || (inForce && inForce.crc === seen.begun)) return undefined;
      if (!inForce) {
        return tell('Coefficients lost', ['It was found without any coefficients.'], 'bad');
      }
      const { generation, model, crc } = inForce;
      return seen.crc === undefined
        ? tell('Coefficients found on it', [`Generation ${generation}, ${model}, check ${crc}.`])
        : tell(
            'Other coefficients found on it',
            [`It runs generation ${generation}, check ${crc}, which nobody put on it from here.`],
            'bad',
          );
    }
    case 'memory saved': {
      if (entry.readings.length + (entry.unreadable?.length ?? 0) === 0) return undefined;
      const { readings, unreadable } = savedWith(entry, seen);
      const words = [
        ...(readings > 0 ? [`${counted(readings, 'reading')}.`] : []),
        ...(unreadable > 0 ? [`${counted(unreadable, 'reading')} made no sense.`] : []),
      ];
      return tell('Readings saved from its memory', words, unreadable > 0 ? 'watch' : 'plain');
    }
    case 'erased':
      return tell('Memory erased', [
        `${counted(entry.count, 'reading')}, up to number ${entry.through}; all of them are in this logbook.`,
      ]);
    case 'note':
      return tell('Note', [entry.text]);
    case 'battery changed':
      return tell('Battery changed', entry.text ? [entry.text] : [], 'watch');
    case 'knocked':
      return tell('Knocked or dropped', entry.text ? [entry.text] : [], 'watch');
    case 'assembly checked': {
      const { standing, heading } = assemblyVerdict(entry);
      return tell(
        `Assembly checked: ${heading[0]!.toLowerCase()}${heading.slice(1)}`,
        [
          ...entry.findings.map((finding) => {
            const { title, evidence } = findingWords(finding);
            return `${title}. ${evidence}`;
          }),
          ...entry.untold,
        ],
        standing,
      );
    }
    case 'site checked': {
      const { standing, heading } = siteVerdict(entry);
      const figures = entry.figures.map(siteFigure);
      return tell(
        `Site checked: ${heading[0]!.toLowerCase()}${heading.slice(1)}`,
        [
          ...(entry.place ? [`At ${placeWords(entry.place)}.`] : []),
          ...figures.map(
            ({ name, figure, standing }) =>
              `${name}: ${figure}${standing === 'good' ? '' : ', not normal'}.`,
          ),
        ],
        standing === 'watch' ? 'plain' : standing,
      );
    }
    case 'coefficients entered':
      return tell('Coefficients entered from elsewhere', [`“${entry.name}”, check ${entry.crc}.`]);
    case 'settings adopted':
      return tell('Settings changed', settingsWords(seen.settings));
    case 'renamed':
      return tell('Renamed', [
        seen.rename?.from ? `From ${seen.rename.from} to ${entry.to}.` : `To ${entry.to}.`,
      ]);
    case 'clock set':
      return tell('Clock set');
    case 'restored':
      return tell('Coefficients put back after a change of firmware', [
        `In force as generation ${entry.generation}.`,
      ]);
    case 'update begun':
      return tell('Firmware being changed', [`From ${entry.from} to ${entry.to}.`], 'watch');
    case 'update confirmed':
      return tell('Firmware confirmed', seen.update ? [`It runs ${seen.update.to}.`] : [], 'good');
    case 'update finished':
      return entry.otherwise.length === 0
        ? undefined
        : tell('After the change of firmware', entry.otherwise, 'watch');
    case 'update undone':
      return tell('Firmware undone', [`It runs ${entry.running}.`, entry.reason], 'watch');
    case 'update given up':
      return tell('Change of firmware given up', [entry.reason], 'watch');
    case 'settings failed':
      return tell('Settings not changed', [entry.reason], 'watch');
    case 'rename failed':
      return tell('Not renamed', [entry.reason], 'watch');
    case 'clock failed':
      return tell('Clock not set', [entry.reason], 'watch');
    case 'erase failed':
      return tell('Memory not erased', [entry.reason], 'watch');
    case 'restore failed':
      return tell('Coefficients not put back', [entry.reason], 'bad');
    case 'calibration started':
    case 'calibration entered': {
      const { calibration } = entry;
      const history = foldCalibration(own.get(calibration) ?? [], calibration);
      return { ...calibrationTold(entry, history), calibration };
    }
    case 'set chosen':
      return tell('Coefficients chosen to be put on it', [
        `${upperFirst(sourceWords(entry.source))}, check ${entry.crc}.`,
      ]);
    case 'sealed':
      return tell(
        `Sealed as generation ${entry.generation}`,
        [
          `${entry.replaced === 0 ? 'Its first coefficients' : `In place of generation ${entry.replaced}`}, check ${entry.crc}.`,
        ],
        'good',
      );
    case 'seal failed':
      return tell('Not sealed', [entry.reason], 'bad');
    case 'reverted':
      return tell(
        'Went back to the coefficients before',
        [`In force again as generation ${entry.generation}, in place of ${entry.replaced}.`],
        'watch',
      );
    case 'revert failed':
      return tell('Did not go back', [entry.reason], 'bad');
    case 'proof':
      return tell(
        entry.passed ? 'Proof passed' : 'Proof not passed',
        [
          `${counted(entry.readings.length, 'fresh reading')} of generation ${entry.generation}.`,
          ...proofWords(entry).map(
            ({ name, figure, good }) => `${name}: ${figure}${good ? '' : ', out of tolerance'}.`,
          ),
        ],
        entry.passed ? 'good' : 'bad',
      );
    case 'check':
      return tell(
        checkTitle(entry),
        [
          `Of generation ${entry.generation}, held against ${heldAgainst(entry.tolerance, entry.of)}.`,
          ...(entry.found ?? []),
          ...entry.figures.map((figure) => `${figureWords(figure)}.`),
          ...entry.warnings,
        ],
        { passed: 'good', failed: 'bad', 'not settled': 'watch' }[entry.verdict] as CourseMark,
      );
    default:
      return undefined;
  }
}

const counted = (count: number, what: string): string =>
  count === 1 ? `One ${what}` : `${count} ${what}s`;

const upperFirst = (words: string): string => words[0]!.toUpperCase() + words.slice(1);

const settingsWords = (begun: EntryOf<'settings begun'> | undefined): string[] =>
  begun ? [`${listed(begun.changes.map(({ name, to }) => `${name}: ${to || 'empty'}`))}.`] : [];

/**
 * Entries of each calibration, after the newest link before it: enough to fold what is so with it, however many
 * readings the board has otherwise.
 */
function byCalibration(entries: readonly StoredEntry[]): Map<string, StoredEntry[]> {
  const own = new Map<string, StoredEntry[]>();
  let linked: StoredEntry | undefined;
  for (const entry of entries) {
    if (entry.kind === 'board linked') linked = entry;
    if (entry.calibration === undefined) continue;
    const before = own.get(entry.calibration);
    // what is on the board now is no part of what one calibration found
    if (entry.kind === 'coefficients saved') continue;
    if (before) before.push(entry);
    else own.set(entry.calibration, [...(linked ? [linked] : []), entry]);
  }
  return own;
}

/** What is so with one calibration of a board and nothing else; undefined where there is none of that name. */
export function historyOfCalibration(
  entries: readonly StoredEntry[],
  calibration: string,
): BoardHistory | undefined {
  const own = byCalibration(entries).get(calibration);
  return own && foldCalibration(own, calibration);
}

function calibrationTold(
  entry: EntryOf<'calibration started' | 'calibration entered'>,
  history: BoardHistory,
): Told {
  const entered = entry.kind === 'calibration entered';
  const title = entered ? 'Calibration entered from a sheet' : 'Calibration';
  const { calibration } = history;
  if (!calibration) return { title, words: [], mark: 'plain' };
  const judgement = judgementOf(history);
  const { fit, refusal, ended } = calibration;
  const words = [
    readingsWords(calibration),
    ...(fit ? [fitWords(calibration)] : []),
    ...(judgement ? [judgement.verdict] : []),
    ...(refusal ? [`No fit: ${refusal.message}`] : []),
    ...(ended?.outcome === 'abandoned' ? [`Given up: ${ended.reason}`] : []),
  ];
  const mark = judgement?.standing ?? (refusal ? 'bad' : 'plain');
  const isFitted = calibration.fits.length > 0 && { isFitted: true as const };
  return { title, words, mark, ...isFitted };
}

function readingsWords({ plan, readings }: CalibrationState): string {
  const aside = readings.filter(({ setAside }) => setAside).length;
  const places = plan.sightings.reduce((sum, { rolls }) => sum + rolls.length, 0);
  const of = places > 0 ? ` for the ${places} attitudes of the ${plan.name} plan` : '';
  return `${counted(readings.length, 'reading')}${of}, ${aside === 0 ? 'none' : aside} set aside.`;
}

function fitWords({ fit, tolerance }: CalibrationState): string {
  const { azimuth, inclination } = fit!.uncertainty;
  return `${upperFirst(fit!.coefficients.model)} model; standard error ${inDegrees(azimuth)} in azimuth × cos inclination and ${inDegrees(inclination)} in inclination; held against ${toleranceName(tolerance ?? ORDINARY_TOLERANCE)}.`;
}

const inDegrees = (radians: number): string => `${((radians * 180) / Math.PI).toFixed(3)}°`;

/** The newest first; of one moment, what was written last. A day counts as its end, so that it stands where it was told. */
function inTimeOrder(course: readonly CourseItem[]): CourseItem[] {
  const end = (when: string) =>
    isDay(when) ? new Date(`${when}T23:59:59`).getTime() : Date.parse(when);
  return course
    .map((item, i) => ({ item, i, at: end(item.when) }))
    .sort((a, b) => b.at - a.at || b.i - a.i)
    .map(({ item }) => item);
}
