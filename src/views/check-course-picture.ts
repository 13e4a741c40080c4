import { html, nothing, svg } from 'lit';
import { customElement, property } from 'lit/decorators.js';
import { planOf, type PlannedStation } from '../steps/course/course-plan.ts';
import type { CourseState } from '../steps/course/course-state.ts';
import type { ShotPlace } from '../steps/course/shot-places.ts';
import { View } from './view.ts';

/** Side of the picture, and what is left free around it for names. */
const SIDE = 300;
const MARGIN = 40;
const at = (part: number) => MARGIN + part * (SIDE - 2 * MARGIN);

/** A check course from above, with its words. */
@customElement('check-course-picture')
export class CheckCoursePicture extends View {
  @property({ attribute: false }) course!: CourseState;
  /** The shot to take next, shown by an arrow. */
  @property({ attribute: false }) next: ShotPlace | undefined;

  protected override render() {
    const plan = planOf(this.course);
    const { legs } = this.course.layout;
    const named = legs.map(({ from, to }) => `${from} to ${to}`).join(', ');
    const find = (name: string) => plan.stations.find((each) => each.name === name)!;
    const next = this.next && {
      at: find(this.next.at),
      aimed: find(this.next.aimed),
    };
    return html`<figure class="course-picture">
      <svg viewBox="0 0 ${SIDE} ${SIDE}" role="img" aria-labelledby="course-picture-words">
        ${plan.legs.map(
          ({ from, to, isKnown }) =>
            svg`<line class=${isKnown ? 'leg' : 'leg open'} x1=${at(from.x)} y1=${at(from.y)} x2=${at(to.x)} y2=${at(to.y)} />`,
        )}
        ${next ? arrow(next.at, next.aimed) : nothing}
        ${plan.stations.map(
          ({ name, x, y }) =>
            svg`<g class=${next?.at.name === name ? 'station here' : 'station'}>
              <path d="M${at(x)} ${at(y) - 8}l7.500 13h-15Z" />
              <text x=${at(x)} y=${at(y) - 12}>${name.length > 14 ? `${name.slice(0, 13)}…` : name}</text>
            </g>`,
        )}
        <path class="north" d="M14 34V12M14 8l-4 9h8Z" />
        <text class="north-name" x="14" y="46">N</text>
      </svg>
      <figcaption>
        <p id="course-picture-words">
          ${plan.words}${next ? ` The arrow leads from ${next.at.name} to ${next.aimed.name}, the next shot.` : ''}
        </p>
        <p class="note">Legs: ${named}.</p>
      </figcaption>
    </figure>`;
  }
}

/** Two thirds along the leg, with a head. */
function arrow(from: PlannedStation, to: PlannedStation) {
  const [x1, y1, x2, y2] = [at(from.x), at(from.y), at(to.x), at(to.y)];
  const length = Math.hypot(x2 - x1, y2 - y1) || 1;
  const [ux, uy] = [(x2 - x1) / length, (y2 - y1) / length];
  const [tx, ty] = [x1 + 0.66 * (x2 - x1), y1 + 0.66 * (y2 - y1)];
  const head = [
    [tx, ty],
    [tx - 12 * ux + 6 * uy, ty - 12 * uy - 6 * ux],
    [tx - 12 * ux - 6 * uy, ty - 12 * uy + 6 * ux],
  ]
    .map((point) => point.map((value) => value.toFixed(1)).join(' '))
    .join('L');
  return svg`<line class="arrow" x1=${x1} y1=${y1} x2=${tx - 8 * ux} y2=${ty - 8 * uy} />
    <path class="arrow-head" d=${`M${head}Z`} />`;
}

declare global {
  interface HTMLElementTagNameMap {
    'check-course-picture': CheckCoursePicture;
  }
}
