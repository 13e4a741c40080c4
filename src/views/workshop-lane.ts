import { html, nothing, svg } from 'lit';
import { customElement, property } from 'lit/decorators.js';
import { kitName, laneOf, laneWords, type Lane } from '../steps/workshop/kit-words.ts';
import type { KitRow } from '../steps/workshop/workshop-desk.ts';
import { workshopAddress } from './page-part.ts';
import { shape } from './shapes.ts';
import { View } from './view.ts';

/** A place name of so many characters is read across a room; a longer one is written smaller. */
const SHORT = 4;

/** One kit of a workshop in a line. It is drawn anew only when something of it changes. */
@customElement('workshop-lane')
export class WorkshopLane extends View {
  @property() paper!: string;
  @property({ attribute: false }) row!: KitRow;

  protected override render() {
    const { row } = this;
    const { kit, place, serial, name } = row;
    const { words, note } = laneWords(row);
    const called = kitName(row);
    const board = [serial === called ? '' : serial, name].filter(Boolean).join(', ');
    return html`<div class="kit ${kindOf(row)}">
      <span class=${place.length > SHORT ? 'at long' : 'at'}>
        ${place ? html`<span class="unseen">Place </span><bdi>${place}</bdi>` : nothing}
      </span>
      <a class="who" href=${workshopAddress(this.paper, kit)}>
        <span><bdi>${called}</bdi></span>
        ${
          board || !serial
            ? html`<span class="serial"><bdi>${board || 'no board yet'}</bdi></span>`
            : nothing
        }
      </a>
      ${laneDrawing(laneOf(row.stage))}
      <p class="so">
        ${shape(row.shape)}
        <span class="words"
          >${words}${note === undefined ? nothing : html` <small>${note}</small>`}</span
        >
      </p>
    </div>`;
  }
}

function kindOf({ trouble, stage }: KitRow): string {
  if (trouble !== undefined) return 'bad';
  return stage.name === 'proven' ? 'done' : stage.step === 0 ? 'idle' : '';
}

/** How far it is, drawn: bars for what is done, a box for what is now, lines for what is ahead; the words beside it say it. */
export const laneDrawing = ({ cells, part }: Lane) =>
  html`<svg
    class="lane"
    viewBox="0 0 ${60 * cells.length} 24"
    preserveAspectRatio="none"
    aria-hidden="true"
  >
    ${cells.map((cell, i) => {
      const x = 60 * i;
      switch (cell) {
        case 'done':
          return svg`<rect class="done" x=${x + 1} y="6" width="58" height="12" />`;
        case 'now':
          return svg`<rect class="now" x=${x + 3} y="2" width="54" height="20" />
            <rect class="done" x=${x + 6} y="6" width=${48 * part} height="12" />`;
        case 'ahead':
          return svg`<rect class="ahead" x=${x + 1} y="11" width="58" height="2" />`;
      }
    })}
  </svg>`;

declare global {
  interface HTMLElementTagNameMap {
    'workshop-lane': WorkshopLane;
  }
}
