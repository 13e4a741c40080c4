import { html, nothing } from 'lit';
import { customElement, property } from 'lit/decorators.js';
import type { PlaceState } from '../steps/place-state.ts';
import { nextStep } from '../steps/next-step.ts';
import { IntentionEvent } from './next-card.ts';
import { offerButton } from './offer-button.ts';
import { View } from './view.ts';

/** The ways out of what is being done: quiet, and at every step in the same place. */
@customElement('ways-out')
export class WaysOut extends View {
  @property({ attribute: false }) state!: PlaceState;

  protected override render() {
    const { waysOut } = nextStep(this.state);
    if (waysOut.length === 0) return nothing;
    const busy = this.state.work !== undefined;
    return html`<section class="ways-out" aria-label="Ways out">
      ${waysOut.map((offer) =>
        offerButton(offer, 'quiet', busy, (does) => this.dispatchEvent(new IntentionEvent(does))),
      )}
    </section>`;
  }
}
