import { html, nothing } from 'lit';
import { customElement, property } from 'lit/decorators.js';
import type { CourseDesk } from '../steps/course/course-desk.ts';
import type {
  CoursePrecision,
  CourseResult,
  InstrumentStanding,
  CourseState,
  OutingState,
} from '../steps/course/course-state.ts';
import {
  COURSE_CAUTIONS,
  deviationWords,
  FIGURE_WORDS,
  offsetWords,
  PRECISION_WORDS,
  disturbanceWords,
  quantityWords,
  scatterWords,
  settledVerdict,
  termsWords,
} from '../steps/course/course-words.ts';
import { changeWords, yearsApart } from '../steps/course/course-years.ts';
import { madeUpWords } from '../steps/course/simulated-course.ts';
import { dayWords, timeWords } from '../steps/time-words.ts';
import { shape, type Shape } from './shapes.ts';
import { View } from './view.ts';

const SHAPES: Record<InstrumentStanding, Shape> = {
  within: 'good',
  off: 'bad',
  scatters: 'bad',
  'not settled': 'watch',
};

type InstrumentResult = CourseResult['instruments'][number];

/** What an instrument is off by in one angle, as a sentence. */
const showsWords = (result: InstrumentResult, angle: 'azimuth' | 'inclination'): string =>
  result[angle]
    ? `Its ${angle}s show too much by ${offsetWords(result, angle)}.`
    : `How far its ${angle}s are off is not determined.`;

const shotScatterWords = (result: InstrumentResult): string => {
  const over = `over ${result.shots === 1 ? '1 shot' : `${result.shots} shots`}`;
  const { azimuth, inclination } = result.scatter;
  return azimuth === undefined && inclination === undefined
    ? `How much one shot scatters is not known, ${over}.`
    : `One shot scatters by ${scatterWords(result)}, ${over}.`;
};

/** What an outing on a check course came to; to be printed as it stands. */
@customElement('check-course-result')
export class CheckCourseResult extends View {
  @property({ attribute: false }) desk!: CourseDesk;
  @property({ attribute: false }) course!: CourseState;
  @property({ attribute: false }) outing!: OutingState;

  protected override render() {
    const { settled, day } = this.outing;
    if (!settled) return nothing;
    const { result, terms, declination, time } = settled;
    const { desk } = this;
    const verdict = settledVerdict(settled, ({ instrument }) => desk.nameOf(instrument));
    return html`<article
      class="sheet course-result"
      aria-labelledby="course-result-${this.outing.id}"
    >
      <h3 id="course-result-${this.outing.id}">What the shots of ${dayWords(day)} say</h3>
      <div class="verdict ${verdict.standing}">
        ${shape(verdict.standing)}
        <p>${verdict.words}</p>
      </div>
      <p class="note">
        ${settled.shots.length === 1 ? '1 shot' : `${settled.shots.length} shots`}, settled
        ${timeWords(time)}. ${termsWords(terms, (each) => desk.nameOf(each))}
        ${
          declination
            ? `Declination ${declination.degrees.toFixed(2)}° ±\u00a0${declination.sigma.toFixed(2)}° (standard error) by ${declination.model}.`
            : ''
        }
      </p>
      <h4>Each instrument</h4>
      <ul class="findings">
        ${result.instruments.map(
          (each) =>
            html`<li class=${SHAPES[each.standing]}>
              ${shape(SHAPES[each.standing])}
              <div>
                <h5>${desk.nameOf(each.instrument)}</h5>
                <p class="figure">${each.verdict}</p>
                <p class="note">
                  ${showsWords(each, 'azimuth')} ${showsWords(each, 'inclination')}
                  ${shotScatterWords(each)}
                </p>
                ${each.words.map((words) => html`<p>${words}</p>`)}
              </div>
            </li>`,
        )}
      </ul>
      ${this.#list(
        'Shots that look wrong',
        result.doubted.map(({ words }) => words),
      )}
      ${this.#stations(result)} ${this.#legs(result)} ${this.#precision(result)} ${this.#years()}
      ${this.#list('What is not determined', result.notDetermined)}
      ${this.#list('What speaks against relying on it', result.warnings)}
      ${this.#list('What this course cannot see', result.blindTo)}
      ${this.#list(
        'What it was made up of',
        madeUpWords(this.course.layout, this.outing, (each) => desk.nameOf(each)),
      )}
      <p class="note">${FIGURE_WORDS}</p>
      ${COURSE_CAUTIONS.map((each) => html`<p class="note">${each}</p>`)}
    </article>`;
  }

  #stations({ stations, drift }: CourseResult) {
    return html`<h4>Each station</h4>
      <ul class="course-lines">
        ${stations.map(
          (each) =>
            html`<li>
              ${shape(each.disturbs ? 'watch' : 'ahead')}
              <span>
                ${each.station}:
                ${disturbanceWords(each)}${each.disturbs ? ': it turns the field' : each.alone ? ', no more than chance' : ''}
              </span>
            </li>`,
        )}
      </ul>
      <p class="note">
        By how much every azimuth shot there shows too much; nothing at a clean one.
      </p>
      ${
        drift
          ? html`<p>
              ${
                drift.verdict === 'cannot tell'
                  ? 'The reference has too few shots to tell how the field changed through the day.'
                  : `Through the day the field turned by up to ${drift.range.toFixed(2)}° by the reference: ${drift.verdict === 'drifts' ? 'more than chance, and taken off the shots' : 'no more than chance'}.`
              }
            </p>`
          : nothing
      }`;
  }

  #legs({ legs }: CourseResult) {
    return html`<div class="scroll" tabindex="0" role="group" aria-label="Table of legs">
      <table>
        <caption>
          Each leg, azimuth from magnetic north
        </caption>
        <thead>
          <tr>
            <th scope="col">Leg</th>
            <th scope="col">Azimuth</th>
            <th scope="col">Inclination</th>
          </tr>
        </thead>
        <tbody>
          ${legs.map(
            ({ from, to, azimuth, inclination }) =>
              html`<tr>
                <th scope="row">${from} to ${to}</th>
                <td>${quantityWords(azimuth, true)}</td>
                <td>${quantityWords(inclination, false)}</td>
              </tr>`,
          )}
        </tbody>
      </table>
    </div>`;
  }

  #precision({ precision }: CourseResult) {
    const line = (name: string, { repeatability, reproducibility }: CoursePrecision) =>
      html`<li>
        ${name}: repeatability ${deviationWords(repeatability)}, reproducibility
        ${deviationWords(reproducibility)}
      </li>`;
    return html`<h4>How alike shots are</h4>
      <ul>
        ${line('Azimuth', precision.azimuth)} ${line('Inclination', precision.inclination)}
      </ul>
      <p class="note">${PRECISION_WORDS}</p>`;
  }

  #years() {
    const apart = yearsApart(this.course, this.outing, (each) => this.desk.nameOf(each));
    if (!apart) return nothing;
    const changed = apart.changes.filter((each) => each.changed);
    return html`<h4>Since ${dayWords(apart.from)}</h4>
      ${
        changed.length === 0
          ? html`<p>
              ${
                apart.changes.length < 2
                  ? apart.changes.length === 0
                    ? 'No figure is in both outings.'
                    : 'The one figure that both outings have has not changed by more than chance.'
                  : `Of ${apart.changes.length} figures that both outings have none has changed by more than chance.`
              }
            </p>`
          : html`<ul class="course-lines">
              ${changed.map(
                (each) => html`<li>${shape('watch')} <span>${changeWords(each)}</span></li>`,
              )}
            </ul>`
      }
      ${apart.notCompared.map((words) => html`<p class="note">${words}</p>`)}`;
  }

  #list(title: string, lines: readonly string[]) {
    return lines.length === 0
      ? nothing
      : html`<h4>${title}</h4>
          <ul>
            ${lines.map((line) => html`<li>${line}</li>`)}
          </ul>`;
  }
}

declare global {
  interface HTMLElementTagNameMap {
    'check-course-result': CheckCourseResult;
  }
}
