import { html, nothing, svg } from 'lit';
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
const HIGH = 130;
/** Where the axes cross. */
const LEFT = 34;
const FLOOR = 108;
const TOP = 8;

const plot = (title: string, words: string, content: unknown) =>
  html`<figure class="report-plot">
    <figcaption>${title}</figcaption>
    <svg viewBox="0 0 ${WIDE} ${HIGH}" role="img" aria-label=${words}>${content}</svg>
  </figure>`;

/** The axes, with a value at the top and what is normal as a broken line. */
function axes(most: number, limit: number, text: (value: number) => string, along: string) {
  const y = heightOf(most);
  return svg`<path class="axis" d="M${LEFT} ${TOP}V${FLOOR}H${WIDE}" />
    <text x=${LEFT - 4} y=${FLOOR} text-anchor="end">${text(0)}</text>
    <text x=${LEFT - 4} y=${TOP + 8} text-anchor="end">${text(most)}</text>
    ${
      limit < most
        ? svg`<path class="limit" d="M${LEFT} ${y(limit)}H${WIDE}" />
            <text x=${LEFT - 4} y=${y(limit) + 4} text-anchor="end">${text(limit)}</text>`
        : nothing
    }
    <text x=${(LEFT + WIDE) / 2} y=${HIGH - 6} text-anchor="middle">${along}</text>`;
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
    svg`${axes(most, TOLERANCE.misfit, (value) => value.toFixed(1), 'About 1 is normal; over the broken line is not. Cross: set aside')}
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
    svg`${axes(most, limit, (value) => degreesText(value), 'Sightings in order. Broken line: the most that their mean may be')}
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
    <figcaption>Attitudes: where it was aimed, and each reading’s roll</figcaption>
    <svg viewBox="-2.500 -1.200 5 2.350" role="img" aria-label=${attitudeWords(marks)}>
      ${disc(marks, 'up', -1.25, 'level and up', size)} ${disc(marks, 'down', 1.25, 'down', size)}
    </svg>
  </figure>`;
}

function disc(
  marks: readonly AttitudeMark[],
  which: 'up' | 'down',
  at: number,
  title: string,
  size: number,
) {
  // what is level to a hair belongs to the upper disc, as in the plan
  const here = marks.filter(({ inclination }) => half(Math.round(inclination)) === which);
  return svg`<g transform="translate(${at} 0)">
    <circle r="1" class="horizon" />
    <circle r=${-project(0, 45).y} class="ring" />
    <path d="M0 -1V1M-1 0H1" class="ring" />
    <text y="-1.060" class="net-text">N</text>
    <text y="1.140" class="net-text">${title}</text>
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
