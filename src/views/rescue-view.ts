import { html, nothing } from 'lit';
import { customElement, property } from 'lit/decorators.js';
import { rescueOffers, type BoardRescue } from '../steps/board-rescue.ts';
import type { PlaceState } from '../steps/place-state.ts';
import type { RescueFinding } from '../steps/rescue.ts';
import { heardFacts, rescueWords } from '../steps/rescue-words.ts';
import { IntentionEvent } from './next-card.ts';
import { offerButton } from './offer-button.ts';
import { shape } from './shapes.ts';
import { View } from './view.ts';
import { factList } from './fact-list.ts';

/** For a board that cannot be worked with: finds out what is the matter, and shows what can be done. */
@customElement('rescue-view')
export class RescueView extends View {
  @property({ attribute: false }) rescue!: BoardRescue;
  @property({ attribute: false }) state!: PlaceState;

  protected override render() {
    const { isPossible, finding } = this.rescue;
    const able = isPossible && this.state.work === undefined;
    return html`
      <p>
        ${
          isPossible
            ? 'Listens to what comes over the link, asks the board who it is and what it holds, and watches whether it starts again by itself. It takes up to a minute, and nothing that the board keeps is changed.'
            : 'The browser has not given the link back since the page was closed. Link the board above first; if that fails, come back here.'
        }
      </p>
      <button
        type="button"
        aria-disabled=${able ? 'false' : 'true'}
        @click=${() => {
          if (able) void this.rescue.run();
        }}
      >
        Find out what is the matter
      </button>
      ${finding ? this.#finding(finding) : nothing}
    `;
  }

  #finding(finding: RescueFinding) {
    const { heading, happened, safe, next } = rescueWords(finding);
    const offers = rescueOffers(finding, this.state);
    const busy = this.state.work !== undefined;
    const well = finding.cause === 'well';
    return html`
      <div role="status">
        <h3 class="verdict ${well ? 'good' : 'bad'}">
          ${shape(well ? 'good' : 'bad')} <span>${heading}</span>
        </h3>
      </div>
      <p class="words">${happened}</p>
      <p>${safe}</p>
      <h3>What can be done, the likeliest first</h3>
      <ul>
        ${next.map((each) => html`<li>${each}</li>`)}
      </ul>
      ${
        offers.length > 0
          ? html`<div class="offers">
              ${offers.map((offer) =>
                offerButton(offer, 'other', busy, (does) =>
                  this.dispatchEvent(new IntentionEvent(does)),
                ),
              )}
            </div>`
          : nothing
      }
      <h3>What was heard</h3>
      ${factList(heardFacts(finding.heard))}
    `;
  }
}
