import { html, nothing } from 'lit';
import { customElement, property } from 'lit/decorators.js';
import { heldWords } from '../steps/logbook/keeping-words.ts';
import type { Keeping } from '../steps/logbook/keeping.ts';
import { saveFile } from './save-file.ts';
import { View } from './view.ts';

/** Warns, on every part of the page, for as long as anything is only in the memory of this page. */
@customElement('keeping-notice')
export class KeepingNotice extends View {
  @property({ attribute: false }) keeping!: Keeping;

  protected override follows() {
    return [this.keeping];
  }

  override connectedCallback(): void {
    super.connectedCallback();
    addEventListener('beforeunload', this.#hold);
  }

  override disconnectedCallback(): void {
    super.disconnectedCallback();
    removeEventListener('beforeunload', this.#hold);
  }

  protected override render() {
    const words = heldWords(this.keeping.state);
    if (!words) return nothing;
    return html`<div role="alert">
      <p><strong>${words.heading}.</strong> ${words.words}</p>
      ${
        words.offer
          ? html`<button type="button" @click=${this.#download}>${words.offer}</button>`
          : nothing
      }
    </div>`;
  }

  #download = async () => {
    saveFile(await this.keeping.heldAsFile());
  };

  /** The browser asks before it closes a page that would lose something. */
  #hold = (event: BeforeUnloadEvent) => {
    if (this.keeping.state.isHolding) event.preventDefault();
  };
}

declare global {
  interface HTMLElementTagNameMap {
    'keeping-notice': KeepingNotice;
  }
}
