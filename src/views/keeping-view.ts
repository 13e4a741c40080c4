import { html, nothing } from 'lit';
import { customElement, property } from 'lit/decorators.js';
import { keepingWords } from '../steps/logbook/keeping-words.ts';
import type { Keeping } from '../steps/logbook/keeping.ts';
import { View } from './view.ts';

/** How safely the logbook lies in this browser: kept for good or not, how much room there is, when it was taken out. */
@customElement('keeping-view')
export class KeepingView extends View {
  @property({ attribute: false }) keeping!: Keeping;

  protected override follows() {
    return [this.keeping];
  }

  override connectedCallback(): void {
    super.connectedCallback();
    void this.keeping.look();
  }

  protected override render() {
    const { keeps, offer, room, takenOut, reminder } = keepingWords(this.keeping.state);
    return html`<section class="sheet" aria-labelledby="keeping-heading">
      <h3 id="keeping-heading">How safe it is here</h3>
      ${reminder ? html`<p class="reminder">${reminder}</p>` : nothing}
      <p role="status">${keeps}</p>
      ${
        offer
          ? html`<button type="button" @click=${() => this.keeping.ask()}>${offer}</button>`
          : nothing
      }
      <p class="note">${takenOut} ${room ?? nothing}</p>
    </section>`;
  }
}

declare global {
  interface HTMLElementTagNameMap {
    'keeping-view': KeepingView;
  }
}
