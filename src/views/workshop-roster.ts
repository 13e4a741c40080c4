import { html } from 'lit';
import { customElement, property } from 'lit/decorators.js';
import { repeat } from 'lit/directives/repeat.js';
import { PLACES } from '../steps/next-step.ts';
import { tally } from '../steps/workshop/kit-words.ts';
import type { WorkshopNow } from '../steps/workshop/workshop-desk.ts';
import { shape } from './shapes.ts';
import { View } from './view.ts';
import './workshop-lane.ts';
import './workshop-roster.css';

/** All kits of a workshop, a lane each, so that a room sees how far everyone is and where help is wanted. */
@customElement('workshop-roster')
export class WorkshopRoster extends View {
  @property({ attribute: false }) now!: WorkshopNow;

  protected override render() {
    const { now } = this;
    return html`
      <div class="roster-head">
        <h2 id="logbook-heading" tabindex="-1"><bdi>${now.terms.name}</bdi></h2>
        <ul class="roster-tally">
          ${tally(now).map(({ shape: kind, words }) => html`<li>${shape(kind)} ${words}</li>`)}
        </ul>
      </div>
      ${
        now.kits.length === 0
          ? html`<p>No kit is on the roster yet: add them below.</p>`
          : html`<div class="kits-head" aria-hidden="true">
                <span>Place</span>
                <span>Who builds it</span>
                <span class="stages">${PLACES.map((place) => html`<span>${place}</span>`)}</span>
                <span>Where it is</span>
              </div>
              <ul class="kits" aria-label="Kits">
                ${repeat(
                  now.kits,
                  ({ kit }) => kit,
                  (row) =>
                    html`<li>
                      <workshop-lane .paper=${now.paper} .row=${row}></workshop-lane>
                    </li>`,
                )}
              </ul>`
      }
    `;
  }
}

declare global {
  interface HTMLElementTagNameMap {
    'workshop-roster': WorkshopRoster;
  }
}
