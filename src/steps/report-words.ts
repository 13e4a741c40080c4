import type { CalibrationReport, ReportProof, ReportReading } from '../records/report-file.ts';
import { lineWords } from './attitude-words.ts';
import type { Fact } from './board-words.ts';
import { newestChecks } from './calibration-report.ts';
import { figureWords as checkFigureWords, VERDICTS } from './checks/check-words.ts';
import { degreesText, listed, type Finding } from './finding.ts';
import { proofWords, truthWords, type FigureWords } from './proof.ts';
import { placeWords } from './site/site-words.ts';
import { speaksAgainst } from './speaks-against.ts';
import { dayOf, dayWords, isDay } from './time-words.ts';

/**
 * A report in words, as it is laid out on two pages. What could be of any length (texts of a person, lists) is cut here,
 * and said to be cut: the machine-readable copy has all.
 */

/** Lines of each kind on the page at most. */
const MOST_LINES = 5;
/** Readings named in one line at most. */
const MOST_NAMED = 8;
/** Characters of a text that a person or a board gave. */
const MOST_CHARACTERS = 160;

/** A text cut to what the page has room for. */
export const cut = (text: string, most = MOST_CHARACTERS): string =>
  text.length <= most
    ? text
    : `${[...text]
        .slice(0, most - 1)
        .join('')
        .trimEnd()}…`;

/** The first lines, and how many more the copy has. @param characters of one line at most */
export function cutList(
  lines: readonly string[],
  most = MOST_LINES,
  characters = MOST_CHARACTERS,
): string[] {
  if (lines.length <= most) return lines.map((line) => cut(line, characters));
  const shown = lines.slice(0, most - 1).map((line) => cut(line, characters));
  return [...shown, `and ${lines.length - shown.length} more, in the machine-readable copy`];
}

/** As many parts, whole, as there is room for, and how many more the copy has. @param most characters of those shown */
function cutParts(parts: readonly string[], most: number): string {
  const shown: string[] = [];
  for (const part of parts) {
    if (shown.length > 0 && [...shown, part].join('; ').length > most) break;
    shown.push(cut(part, most));
  }
  const left = parts.length - shown.length;
  return [...shown, ...(left > 0 ? [`and ${left} more, in the machine-readable copy`] : [])].join(
    '; ',
  );
}

export const upperFirst = (words: string): string =>
  words.slice(0, 1).toUpperCase() + words.slice(1);

/** A moment to the minute, with the zone it is told in; or a day. */
export function momentWords(iso: string): string {
  if (isDay(iso)) return dayWords(iso);
  return new Date(iso).toLocaleString('en-GB', {
    day: 'numeric',
    month: 'short',
    year: 'numeric',
    hour: '2-digit',
    minute: '2-digit',
    timeZoneName: 'short',
  });
}

export const reportTitle = ({ board: { name, serial } }: CalibrationReport): string =>
  name ? `${name}, ${serial}` : `Board ${serial}`;

/** The report in a few words, and how it stands: what speaks against relying on it comes first. */
export function reportVerdict({
  judgement,
  refusal,
  proof,
  checks,
  site,
  seal,
}: CalibrationReport): Pick<Finding, 'standing' | 'words'> {
  if (!judgement) {
    return {
      standing: 'bad',
      words: refusal
        ? `No fit from these readings. ${refusal.message}`
        : 'These readings were not fitted yet.',
    };
  }
  const { standing, verdict } = judgement;
  const against = speaksAgainst({
    ...(proof && { proof }),
    checks: newestChecks(checks),
    ...(site && { site }),
  }).map((reason) => `${upperFirst(reason)}.`);
  const proven = proof?.passed ? [`The proof on ${proof.readings} fresh readings passed.`] : [];
  const elsewhere = seal?.inForce === false ? ['The board no longer runs these coefficients.'] : [];
  return {
    standing:
      against.length > 0 ? 'bad' : standing === 'good' && elsewhere.length > 0 ? 'watch' : standing,
    words: [...against, verdict, ...proven, ...elsewhere].join(' '),
  };
}

/** Which board, when, where, how, and against what. */
export function headFacts(report: CalibrationReport): Fact[] {
  const { board, begun, taken, result, readings, tolerance, seal, proof } = report;
  const { hardware, firmware } = board;
  return [
    { name: 'Serial number', value: cut(board.serial, 40) },
    ...(board.name ? [{ name: 'Name', value: cut(board.name, 40) }] : []),
    {
      name: 'Hardware, firmware',
      value:
        hardware === undefined || firmware === undefined
          ? 'not known'
          : `${cut(hardware, 24)}, ${cut(firmware, 24)}`,
    },
    { name: 'Begun', value: momentWords(begun) },
    ...(taken ? [{ name: 'Readings taken', value: spanWords(taken) }] : []),
    ...(result ? [{ name: 'Fitted', value: momentWords(result.fitted) }] : []),
    ...(seal ? [{ name: 'Sealed', value: momentWords(seal.sealed) }] : []),
    ...(proof ? [{ name: 'Proven', value: momentWords(proof.taken) }] : []),
    { name: 'Where', value: report.site?.place ? placeWords(report.site.place) : 'not told' },
    ...siteFacts(report),
    { name: 'Judged against', value: tolerance.name },
    { name: 'Plan', value: planWords(readings) },
    { name: 'Readings', value: readingsWords(readings) },
    ...conditionFacts(readings),
  ];
}

/** From the first moment to the last; the day once, where it is the same. */
function spanWords({ first, last }: NonNullable<CalibrationReport['taken']>): string {
  const [from, until] = [momentWords(first), momentWords(last)];
  if (from === until) return from;
  const isOneDay = dayOf(new Date(first)) === dayOf(new Date(last));
  return isOneDay ? `${from} to ${until.slice(until.indexOf(', ') + 2)}` : `${from} to ${until}`;
}

function siteFacts({ site }: CalibrationReport): Fact[] {
  if (!site) return [{ name: 'Site', value: 'not checked before these readings' }];
  const { words, expected } = site;
  return [
    { name: 'Site, as checked', value: words },
    ...(expected
      ? [
          {
            name: `The field there by ${expected.model}${expected.valid ? '' : ', which does not cover the day'}`,
            value: `declination ${signedDegrees(expected.declination)}, dip ${signedDegrees(expected.dip)}, ${Math.round(expected.strength)} nT`,
          },
        ]
      : []),
  ];
}

const signedDegrees = (value: number): string => degreesText(value, 1).replace('-', '−');

function planWords({ plan, from, file, units }: CalibrationReport['readings']): string {
  const { name, sightings, attitudes, gaps, azimuths } = plan;
  const source =
    from === 'sheet'
      ? `readings from ${file === undefined ? 'a sheet' : `the file ${cut(file, 60)}`} in ${units!.acc} and ${units!.mag}`
      : undefined;
  const north =
    azimuths === 'absolute' ? 'magnetic north set out' : 'azimuths only from each other';
  const whole =
    gaps === 0 ? 'none without a reading that counts' : `${gaps} without a reading that counts`;
  const places =
    attitudes === 0
      ? 'no attitudes planned'
      : `${cut(name, 40)}: ${sightings} sightings, ${attitudes} attitudes, ${whole}; ${north}`;
  return [
    ...(source === undefined ? [] : [source]),
    ...(attitudes === 0 && source ? [] : [places]),
  ].join('; ');
}

const readingsWords = ({ taken, used, setAside }: CalibrationReport['readings']): string =>
  `${taken} taken, ${used} used, ${setAside.length === 0 ? 'none' : setAside.length} set aside`;

function conditionFacts({ temperature, supply }: CalibrationReport['readings']): Fact[] {
  const span = (least: number, most: number, digits: number) =>
    [...new Set([least.toFixed(digits), most.toFixed(digits)])].join(' to ').replaceAll('-', '−');
  return [
    {
      name: 'Temperature',
      value: temperature
        ? `${span(temperature.coldest, temperature.warmest, 1)} °C`
        : 'not told by any reading',
    },
    ...(supply ? [{ name: 'Supply', value: `${span(supply.lowest, supply.highest, 2)} V` }] : []),
  ];
}

/** What was set aside and why: a line for each reason. */
export function setAsideLines({ readings }: CalibrationReport): string[] {
  const groups = new Map<string, string[]>();
  for (const { id, by, reason } of readings.setAside) {
    const key = `${by === 'fit' ? 'by the fit' : 'by a person'}: ${cut(reason, 80)}`;
    groups.set(key, [...(groups.get(key) ?? []), cut(id, 20)]);
  }
  return cutList(
    [...groups].map(([why, ids]) => {
      const more = ids.length > MOST_NAMED ? ` and ${ids.length - MOST_NAMED} more` : '';
      return `${ids.slice(0, MOST_NAMED).join(', ')}${more}, ${why}`;
    }),
  );
}

/** The figures of the judgement, and the least certain attitude. */
export function resultRows({ result, judgement }: CalibrationReport): Finding[] {
  if (!result || !judgement) return [];
  const whole = (value: number) => `${Math.round(value)}°`.replace('-', '−');
  const least = (['azimuth', 'inclination'] as const).flatMap((angle): Finding[] => {
    const { worst } = result[angle];
    if (!worst) return [];
    const { azimuth, inclination, roll, standardError, interval95 } = worst;
    return [
      {
        name: angle === 'azimuth' ? 'Azimuth × cos inclination at worst' : 'Inclination at worst',
        figure: `±\u00a0${degreesText(interval95)}`,
        words: `the same in the least certain attitude (standard error ${degreesText(standardError, 3)}), which is azimuth ${whole(azimuth)}, inclination ${whole(inclination)}, roll ${whole(roll)}`,
        standing: 'good',
      },
    ];
  });
  const [azimuth, inclination, ...others] = judgement.findings;
  return [azimuth!, inclination!, ...least, ...others].map((finding) => ({
    ...finding,
    words: cut(finding.words, 230),
  }));
}

/** What the board keeps, and how that is known. */
export function sealFacts({ seal, result }: CalibrationReport): Fact[] {
  if (!seal) {
    return result
      ? [{ name: 'Seal', value: 'none: these coefficients were not put on the board' }]
      : [];
  }
  const { generation, replaced, crc, readBack, inForce } = seal;
  const back = !readBack
    ? 'not read back since'
    : readBack.equal
      ? `all ${readBack.numbers} numbers just as they were sealed, bit by bit`
      : `${readBack.different} of ${readBack.numbers} numbers differ from what was sealed`;
  return [
    {
      name: 'Generation',
      value: `${generation}, ${replaced === 0 ? 'the first' : `in place of ${replaced}`}`,
    },
    { name: 'Check (CRC-32)', value: crc },
    { name: 'Read back', value: back },
    {
      name: 'When the board was read last',
      value:
        inForce === undefined
          ? 'not read since'
          : inForce
            ? 'it ran these coefficients'
            : 'it ran others, and no longer these',
    },
  ];
}

/** The newest check in the field of each kind: the figures that are outside first, then warnings, then the others. */
export function checkRows({ checks }: CalibrationReport): Finding[] {
  return newestChecks(checks).map(({ name, verdict, taken, figures, warnings, failedBefore }) => {
    const told = (among: typeof figures) =>
      among.map(({ value = NaN, half = Infinity, ...others }) =>
        checkFigureWords({ ...others, value, half }),
      );
    const outside = figures.filter((each) => each.standing === 'outside');
    const others = figures.filter((each) => each.standing !== 'outside');
    const before =
      failedBefore === 0
        ? []
        : [`not passed ${failedBefore === 1 ? 'once' : `${failedBefore} times`} before it`];
    return {
      name,
      figure: `${VERDICTS[verdict]}, ${dayWords(taken)}`,
      words: cutParts([...before, ...told(outside), ...warnings, ...told(others)], 230),
      standing: ({ passed: 'good', failed: 'bad', 'not settled': 'watch' } as const)[verdict],
    };
  });
}

const asFinding = ({ good, ...row }: FigureWords): Finding => ({
  ...row,
  standing: good ? 'good' : 'bad',
});

export const proofRows = (proof: ReportProof): Finding[] =>
  proofWords({
    ...proof,
    readings: [],
    figures: proof.figures.map((figure) => ({ ...figure, value: figure.value ?? NaN })),
  }).map(asFinding);

/** Against the truth, which only a simulated board can tell. */
export const truthRows = ({ truth }: ReportProof): Finding[] =>
  truth ? truthWords(truth).map(asFinding) : [];

/** Whether there is so much to say that two pages hold it only in smaller type. */
export function isDense(report: CalibrationReport): boolean {
  const { judgement, proof, before, notes } = report;
  const lines = [
    setAsideLines(report),
    judgement?.warnings ?? [],
    proof?.warnings ?? [],
    before?.changes ?? [],
    checkRows(report),
    checkRows(report),
    sinceLines(report),
    notes,
  ];
  return lines.reduce((sum, { length }) => sum + Math.min(length, 12), 0) > 22;
}

/** What happened since, with when. */
export const sinceLines = ({ since }: CalibrationReport): string[] =>
  cutList(
    since.map(({ when, what }) => `${momentWords(when)}: ${what}`),
    4,
    110,
  );

/** A sighting as the picture of attitudes has it: one mark, and a roll for each reading. */
export interface AttitudeMark {
  azimuth: number;
  inclination: number;
  rolls: readonly { roll: number; used: boolean }[];
}

/**
 * Where the sight pointed and how it was rolled, by sightings; a free attitude is one by itself. Degrees. Straight up
 * and down azimuth and roll turn into each other: a roll is told from the azimuth of its sighting's first reading, so
 * that quarter turns stay quarter turns (at ±90° the attitude depends on roll ∓ azimuth alone).
 */
export function attitudeMarks(readings: readonly ReportReading[]): AttitudeMark[] {
  const marks = new Map<string, AttitudeMark>();
  for (const { id, sighting, used, azimuth, inclination, roll } of readings) {
    if (azimuth === undefined || inclination === undefined || roll === undefined) continue;
    const key = sighting === undefined ? `free ${id}` : `sighting ${sighting}`;
    const mark = marks.get(key) ?? { azimuth, inclination, rolls: [] };
    const off = ((azimuth - mark.azimuth + 540) % 360) - 180;
    const turned = roll - off * Math.sin((inclination * Math.PI) / 180);
    marks.set(key, { ...mark, rolls: [...mark.rolls, { roll: turned, used }] });
  }
  return [...marks.values()];
}

/** The picture of attitudes in a sentence, for whoever does not see it. */
export function attitudeWords(marks: readonly AttitudeMark[]): string {
  const lines = marks.map((mark) => `${lineWords(mark)}: ${mark.rolls.length}`);
  return `Readings by line of sight. ${cutList(lines, 40).join('; ')}.`;
}

/** The same for the misfits. */
export function misfitWords(readings: readonly ReportReading[]): string {
  const used = readings.flatMap(({ id, misfit }) => (misfit === undefined ? [] : [{ id, misfit }]));
  if (used.length === 0) return 'No misfit is known.';
  const largest = used.reduce((a, b) => (b.misfit > a.misfit ? b : a));
  return `Misfit of ${used.length} readings in the order taken: largest ${largest.misfit.toFixed(1)}, at reading ${cut(largest.id, 20)}.`;
}

/** The same for spreads. */
export function spreadWords(
  sightings: readonly { sighting: string; spread?: number; n: number }[],
): string {
  const known = sightings.flatMap(({ sighting, spread }) =>
    spread === undefined ? [] : [{ sighting, spread }],
  );
  if (known.length === 0) return 'No sighting has two readings or more.';
  const largest = known.reduce((a, b) => (b.spread > a.spread ? b : a));
  return `Spread of ${known.length} sightings: largest ${degreesText(largest.spread)}, at sighting ${cut(largest.sighting, 20)}; the sightings are ${listed(
    cutList(
      known.map(({ sighting, spread }) => `${sighting} ${degreesText(spread)}`),
      40,
    ),
  )}.`;
}
