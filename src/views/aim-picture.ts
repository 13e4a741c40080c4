import { html, nothing, svg } from 'lit';
import { customElement, property } from 'lit/decorators.js';
import { isAt, offsetTo, topOf, type Wanted } from '../steps/collecting/aim-offset.ts';
import { wayWords } from '../steps/collecting/aim-words.ts';
import { ROLL_WITHIN } from '../steps/collecting/collecting-choices.ts';
import type { Look } from '../steps/collecting/live-attitude.ts';
import './aim-picture.css';
import { View } from './view.ts';

/** Radius of the picture, the whole sphere within; and of the mark that stands for the board. */
const RIM = 100;
const MARK = 13;
/** The rings, degrees from the wanted line. */
const RINGS = [2, 10, 45] as const;

/**
 * How far from the middle an angle is drawn: near the wanted line a degree can be seen, and half a turn is still within the
 * rim.
 */
const reach = (angle: number): number =>
  (RIM * Math.log1p(Math.min(180, Math.abs(angle)) / 2)) / Math.log1p(90);

/**
 * The aim wanted, in the middle, and the aim now: seen from behind the board, along the line to aim at. A tongue on each
 * points to where the board's top is to be, and is. What the picture shows stands beside it in words.
 */
@customElement('aim-picture')
export class AimPicture extends View {
  @property({ attribute: false }) wanted!: Wanted;
  /** Absent until there is one. */
  @property({ attribute: false }) look: Look | undefined;
  /** How near counts as there, degrees. */
  @property({ type: Number }) within = 6;

  protected override render() {
    const { wanted, look, within } = this;
    const { attitude, stillness } = look ?? {};
    const offset = attitude && offsetTo(wanted, attitude);
    const words = offset && wayWords(offset, wanted);
    const isThere = offset !== undefined && isAt(offset, { line: within, roll: ROLL_WITHIN });
    return html`<div class="aim-now">
      <svg
        viewBox="-118 -118 236 236"
        role="img"
        aria-label="The aim wanted and the aim now. The words beside it say the same."
      >
        <circle r=${RIM} class="aim-rim" />
        <path d="M-${RIM} 0H${RIM}M0 -${RIM}V${RIM}" class="aim-line" />
        ${RINGS.map(
          (angle) =>
            svg`<circle r=${reach(angle)} class="aim-line" />
              <text x=${reach(angle) * 0.7071 + 2} y=${reach(angle) * 0.7071 + 2} class="aim-scale">${angle}°</text>`,
        )}
        ${offset?.byCompass ? this.#compass(wanted) : nothing}
        <g transform="rotate(${wanted.roll})" class="aim-wanted ${isThere ? 'there' : ''}">
          <circle r="20" />
          <path d="M-7 -19L0 -36L7 -19" />
        </g>
        ${offset ? this.#now(offset, wanted, stillness?.still === true) : nothing}
      </svg>
      <dl class="aim-words">
        <div>
          <dt>${offset?.byCompass ? 'East or west' : 'Left or right'}</dt>
          <dd>${words?.aside ?? '–'}</dd>
        </div>
        <div>
          <dt>${offset?.byCompass ? 'North or south' : 'Up or down'}</dt>
          <dd>${words?.upward ?? '–'}</dd>
        </div>
        <div>
          <dt>Roll</dt>
          <dd>${words?.roll ?? '–'}</dd>
        </div>
      </dl>
    </div>`;
  }

  /** Along a vertical line there is no left and right: the compass stands round the rim. */
  #compass(wanted: Wanted) {
    const top = topOf(wanted) === 'south' ? 'S' : 'N';
    const foot = top === 'S' ? 'N' : 'S';
    return (
      [
        [top, 0, -110],
        ['E', 110, 0],
        [foot, 0, 110],
        ['W', -110, 0],
      ] as const
    ).map(([name, x, y]) => svg`<text x=${x} y=${y} class="aim-compass">${name}</text>`);
  }

  #now({ right, up, roll }: ReturnType<typeof offsetTo>, wanted: Wanted, isStill: boolean) {
    if (right === undefined && up === undefined) return nothing;
    const [across, along] = [-(right ?? 0), up ?? 0]; // where it points, seen from the wanted line
    const far = Math.hypot(across, along);
    const k = far === 0 ? 0 : reach(far) / far;
    const [x, y] = [across * k, along * k];
    const held = roll === undefined ? undefined : wanted.roll - roll;
    return svg`
      ${reach(far) > 30 ? svg`<path d="M${x * 0.82} ${y * 0.82}L${(x * 24) / reach(far)} ${(y * 24) / reach(far)}" class="aim-way" />` : nothing}
      <g transform="translate(${x} ${y})" class="aim-held ${isStill ? 'still' : 'moving'}">
        ${right === undefined ? svg`<path d="M-60 0H60" class="aim-unsure" />` : nothing}
        <circle r=${MARK} />
        ${held === undefined ? nothing : svg`<path d="M-6 -11L0 -30L6 -11Z" transform="rotate(${held})" />`}
      </g>`;
  }
}
