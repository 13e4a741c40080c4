import { comparisonWords, type ComparisonOutcome } from '../steps/comparison-words.ts';
import type { FileFit } from '../steps/fit-file.ts';
import { judge, settledWords } from '../steps/judgement.ts';
import { GRADES_SOURCE } from '../steps/tolerance.ts';
import type { FitReport } from './fit-report.ts';

/** What `fit` prints for a person. */

const SAFETY = `Magnetic heading alone must not be relied on where an error can hurt someone. Where this is used for
survey, local rules and qualified surveyors decide. A calibration holds only for the battery, housing
and temperature it was made with.
`;

/** Four significant digits; plain where that is readable. */
const short = (value: number): string => String(Number(value.toPrecision(4)));

/** @param where what to say of where the coefficients went */
export function fitSummary(
  fit: FileFit,
  report: FitReport,
  { readings: path, where }: { readings: string; where: string },
  comparison?: { with: string; outcome: ComparisonOutcome },
): string {
  const { readings, residuals, temperature, setAside } = report;
  const { degrees, grade } = report.tolerance;
  const tolerance = grade === null ? { degrees } : { degrees, grade };
  const { verdict, findings, advice, notKnown, blindTo } = judge(fit, undefined, tolerance);
  const rows: [string, string][] = [
    ['Readings', `${readings.given}, of which the fit used ${readings.used}`],
    ['Model', report.model],
    ...findings.map(({ name, figure, words }): [string, string] => [name, `${figure}; ${words}`]),
    ['Residuals', `accelerometer ${residualText(residuals.acc, ' counts')}`],
    ['', `magnetometer ${residualText(residuals.mag, ' counts')}`],
    ...(residuals.aim ? [['', `aim ${residualText(residuals.aim, '°')}`] as [string, string]] : []),
    ...(temperature
      ? [
          [
            'Temperature',
            `${short(temperature.least)} to ${short(temperature.most)} °C; elsewhere this is not tested`,
          ] as [string, string],
        ]
      : []),
    ['Stopped', settledWords(report.iterations)],
    ['Set aside', setAside.length === 0 ? 'none' : `${setAside.length}:`],
    ...setAside.map(({ id, reason }): [string, string] => ['', `${id}: ${reason}`]),
  ];
  const width = Math.max(...rows.map(([name]) => name.length)) + 2;
  return [
    path,
    `${verdict}`,
    ...(grade === null ? [] : [`(Grades: ${GRADES_SOURCE}.)`]),
    '',
    ...section('Not known', notKnown),
    ...section(
      'What to do',
      advice.map(({ cause, then }) => `${cause[0]!.toUpperCase()}${cause.slice(1)}: ${then}`),
    ),
    ...rows.map(([name, text]) => `${name.padEnd(width)}${text}`),
    '',
    ...(comparison ? against(comparison) : []),
    ...section('Warnings', report.warnings),
    ...section('What this cannot see', blindTo),
    where,
    '',
    SAFETY,
  ].join('\n');
}

function against({ with: path, outcome }: { with: string; outcome: ComparisonOutcome }): string[] {
  const { lead, rows } = comparisonWords(outcome, path);
  return ['Compared', lead, ...rows.map(({ name, figure }) => item(`${name}: ${figure}`)), ''];
}

const section = (heading: string, texts: readonly string[]): string[] =>
  texts.length > 0 ? [heading, ...texts.map(item), ''] : [];

const item = (text: string): string => `- ${text}`;

function residualText({ rms, largest, reading }: FitReport['residuals']['acc'], unit: string) {
  return `rms ${short(rms)}${unit}, largest ${short(largest)}${unit} (reading ${reading})`;
}
