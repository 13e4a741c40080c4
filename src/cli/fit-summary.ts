import type { Fit } from '../calib/fit.ts';
import { judge, settledWords } from '../steps/judgement.ts';
import type { FitReport } from './fit-report.ts';

/** What `fit` prints for a person. */

const SAFETY = `Magnetic heading alone must not be relied on where an error can hurt someone. Where this is used for
survey, local rules and qualified surveyors decide. A calibration holds only for the battery, housing
and temperature it was made with.
`;

/** Four significant digits; plain where that is readable. */
const short = (value: number): string => String(Number(value.toPrecision(4)));

export function fitSummary(
  fit: Fit,
  report: FitReport,
  files: { readings: string; coefficients: string },
): string {
  const { verdict, findings, blindTo } = judge(fit);
  const { readings, residuals, temperature, setAside } = report;
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
    `${files.readings}`,
    `${verdict}`,
    '',
    ...rows.map(([name, text]) => `${name.padEnd(width)}${text}`),
    '',
    ...(report.warnings.length > 0 ? ['Warnings', ...report.warnings.map(item), ''] : []),
    'What this cannot see',
    ...blindTo.map(item),
    '',
    `Coefficients written to ${files.coefficients}`,
    '',
    SAFETY,
  ].join('\n');
}

const item = (text: string): string => `- ${text}`;

function residualText({ rms, largest, reading }: FitReport['residuals']['acc'], unit: string) {
  return `rms ${short(rms)}${unit}, largest ${short(largest)}${unit} (reading ${reading})`;
}
