import { html, svg } from 'lit';
import type { ReportReading, ReportResult } from '../steps/calibration-report.ts';
import { degreesText } from '../steps/finding.ts';
import {
  attitudeMarks,
  attitudeWords,
  misfitWords,
  spreadWords,
  type AttitudeMark,
} from '../steps/report-words.ts';
import { TOLERANCE } from '../steps/tolerance.ts';
import { half, project, wedgePath } from './net-projection.ts';

/** The pictures of a report, in units of the drawing; they are printed as they stand, in black. */

const WIDE = 300;
const HIGH = 114;
/** Where the axes cross. */
const LEFT = 34;
const FLOOR = 108;
const TOP = 8;

const plot = (title: string, words: string, key: string, content: unknown) =>
  html`<figure class="report-plot">
    <figcaption>${title}</figcaption>
    <svg viewBox="0 0 ${WIDE} ${HIGH}" role="img" aria-label=${words}>${content}</svg>
    <p class="report-key">${key}</p>
  </figure>`;

/** The axes; the most that is normal is a broken line. */
function axes(most: number, limit: number, text: (value: number) => string) {
  const y = heightOf(most);
  return svg`<path class="axis" d="M${LEFT} ${TOP}V${FLOOR}H${WIDE}" />
    <text x=${LEFT - 4} y=${FLOOR + 3} text-anchor="end">${text(0)}</text>
    <path class="limit" d="M${LEFT} ${y(limit)}H${WIDE}" />
    <text x=${LEFT - 4} y=${y(limit) + 4} text-anchor="end">${text(limit)}</text>`;
}

const heightOf = (most: number) => (value: number) =>
  FLOOR - (Math.min(value, most) / most) * (FLOOR - TOP);

/** Misfit of each reading in the order taken; those left out as crosses at the foot. */
export function misfitPlot(readings: readonly ReportReading[]) {
  const most = Math.max(3, ...readings.flatMap(({ misfit }) => misfit ?? [])) * 1.1;
  const x = (i: number) => LEFT + ((i + 0.5) / readings.length) * (WIDE - LEFT);
  const y = heightOf(most);
  return plot(
    'Misfit of each reading, in the order taken',
    misfitWords(readings),
    'About 1 is normal, over the broken line is not; a cross was set aside.',
    svg`${axes(most, TOLERANCE.misfit, (value) => value.toFixed(1))}
      ${readings.map(({ misfit }, i) =>
        misfit === undefined
          ? svg`<path class="out" d=${crossPath(x(i), FLOOR - 5, 3)} />`
          : svg`<circle cx=${x(i)} cy=${y(misfit)} r="2.200" />`,
      )}`,
  );
}

/** Spread of each sighting as a bar. */
export function spreadPlot(sightings: ReportResult['sightings'], limit: number) {
  const known = sightings.filter(({ spread }) => spread !== undefined);
  const most = Math.max(limit, ...known.map(({ spread }) => spread!)) * 1.1;
  const step = (WIDE - LEFT) / Math.max(1, known.length);
  const y = heightOf(most);
  return plot(
    'Spread of each sighting',
    spreadWords(sightings),
    'In the order of the sightings; the broken line is the most that their mean may be.',
    svg`${axes(most, limit, (value) => degreesText(value, 1))}
      ${known.map(
        ({ spread }, i) =>
          svg`<rect x=${LEFT + step * (i + 0.2)} y=${y(spread!)} width=${step * 0.6} height=${FLOOR - y(spread!)} />`,
      )}`,
  );
}

const crossPath = (x: number, y: number, r: number) =>
  `M${x - r} ${y - r}L${x + r} ${y + r}M${x + r} ${y - r}L${x - r} ${y + r}`;

/** Where the sight pointed, on two equal-area nets; each wedge is a reading by its roll, upright at the top. */
export function attitudesPlot(readings: readonly ReportReading[]) {
  const marks = attitudeMarks(readings);
  // free attitudes are many, and each a mark by itself
  const size = marks.length > 30 ? 0.07 : 0.13;
  return html`<figure class="report-plot">
    <figcaption>Attitudes</figcaption>
    <svg viewBox="-2.450 -1.350 4.900 2.500" role="img" aria-label=${attitudeWords(marks)}>
      ${disc(marks, 'up', -1.22, size)} ${disc(marks, 'down', 1.22, size)}
    </svg>
    <p class="report-key">
      Left: aimed level or up; right: down; seen from above. A wedge is a reading, upright at the
      top; an empty one was set aside.
    </p>
  </figure>`;
}

function disc(marks: readonly AttitudeMark[], which: 'up' | 'down', at: number, size: number) {
  // what is level to a hair belongs to the upper disc, as in the plan
  const here = marks.filter(({ inclination }) => half(Math.round(inclination)) === which);
  return svg`<g transform="translate(${at} 0)">
    <circle r="1" class="horizon" />
    <circle r=${-project(0, 45).y} class="ring" />
    <path d="M0 -1V1M-1 0H1" class="ring" />
    <text y="-1.180" class="net-text">N</text>
    ${here.map(({ azimuth, inclination, rolls }) => {
      const { x, y } = project(azimuth, inclination);
      return svg`<g transform="translate(${x} ${y})">
        <circle r=${size} class="ground" />
        ${rolls.map(
          ({ roll, used }) =>
            svg`<path d=${wedgePath(roll, size)} class=${used ? 'used' : 'unused'} />`,
        )}
      </g>`;
    })}
  </g>`;
}
