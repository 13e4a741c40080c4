import { degrees } from '../calib/geometry.ts';
import type { NextReading } from '../calib/next-reading.ts';
import { lineWords, rollWords } from '../steps/attitude-words.ts';
import type { Mountings } from '../steps/fit-file.ts';
import { adviseNext, type NextAdvice } from '../steps/next-advice.ts';
import { readingsIn } from './input-files.ts';
import { failed, type Outcome } from './outcome.ts';

export interface NextCommand {
  readings: string;
  /** Standard error of azimuth × cos inclination, degrees. */
  wanted: number;
  json: boolean;
  mounting?: Mountings;
}

/** `next`: where to aim next, and how many readings are still needed. */
export function next({ readings: path, wanted, json, mounting }: NextCommand): Outcome {
  const file = readingsIn(path);
  if (!file.ok) return failed(file.message);
  const advice = adviseNext(file, wanted, mounting ? { mounting } : {});
  if (!advice.ok) return failed(`${path}: ${advice.message} ${advice.next}`);
  const out = json ? `${JSON.stringify(inJson(advice, wanted), null, 2)}\n` : inWords(advice, wanted); // prettier-ignore
  return { code: 0, out };
}

/** Of azimuth × cos inclination, over all attitudes; degrees. */
function inJson({ forecast, from, refusal, warnings }: NextAdvice, wanted: number) {
  const { now, readings, needed } = forecast;
  return {
    wanted,
    now: degrees(now),
    needed: needed ?? null,
    from,
    why: refusal?.message ?? null,
    readings: readings.map(({ aim, sighting, opens, azimuth }) => ({
      sighting,
      opens,
      azimuth: degrees(aim.azimuth),
      inclination: degrees(aim.inclination),
      roll: degrees(aim.roll),
      standardError: degrees(azimuth),
    })),
    warnings,
  };
}

const COLUMNS = ['', 'sighting', 'azimuth', 'inclination', 'roll', 'then'];

function inWords({ forecast, from, refusal, warnings, interval }: NextAdvice, wanted: number) {
  const { now, readings, needed } = forecast;
  const [first] = readings;
  const last = readings.at(-1);
  const standing =
    from === 'fit'
      ? `As it stands: standard error of azimuth × cos inclination ${text(now)} (95 % interval ± ${(interval ?? 0).toFixed(2)}°).`
      : `These readings settle no fit yet (${refusal?.message ?? ''}) Their planned aims stand for them, on an ordinary board at a dip of 65°.`;
  const needs =
    needed === 0
      ? `${wanted}° is reached: no more readings are needed.`
      : needed === undefined
        ? `${wanted}° is not reached by ${readings.length} more readings, which lead to ${text(last?.azimuth ?? now)}.`
        : `${needed} more ${needed === 1 ? 'reading is' : 'readings are'} needed for ${wanted}°, if each is the best after those before it.`;
  const rows = readings.map(({ aim, sighting, opens, azimuth }, i) => [
    String(i + 1),
    opens ? `${sighting} (new)` : sighting,
    ...[aim.azimuth, aim.inclination, aim.roll].map((angle) => String(Math.round(degrees(angle)))),
    text(azimuth),
  ]);
  const table = [COLUMNS, ...rows];
  const widths = COLUMNS.map((_, c) => Math.max(...table.map((row) => row[c]!.length)));
  return [
    ...(first ? [`Next: ${aimWords(first)}.`] : []),
    standing,
    needs,
    ...(rows.length > 0
      ? [
          '',
          ...table.map((row) => row.map((cell, c) => cell.padStart(widths[c]!)).join('  ').trimEnd()), // prettier-ignore
        ]
      : []),
    ...(warnings.length > 0 ? ['', 'Warnings', ...warnings.map((each) => `- ${each}`)] : []),
    '',
  ].join('\n');
}

function aimWords({ aim, sighting, opens }: NextReading): string {
  const [azimuth, inclination, roll] = [aim.azimuth, aim.inclination, aim.roll].map(degrees) as [
    number,
    number,
    number,
  ];
  const line = opens ? `a new sighting, ${sighting}` : `sighting ${sighting}`;
  return `aim ${lineWords({ azimuth, inclination })}, and hold it ${rollWords(roll)} (azimuth ${azimuth.toFixed(0)}°, inclination ${inclination.toFixed(0)}°, roll ${roll.toFixed(0)}°; ${line})`;
}

const text = (angle: number): string => `${degrees(angle).toFixed(3)}°`;
