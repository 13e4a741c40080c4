import { html, nothing } from 'lit';
import { customElement, property } from 'lit/decorators.js';
import type { NewerVersion } from '../steps/newer-version.ts';
import { View } from './view.ts';

/** Says that a newer version is here; it comes into use when a person says so, and not before. */
@customElement('newer-version-notice')
export class NewerVersionNotice extends View {
  @property({ attribute: false }) newer!: NewerVersion;

  protected override follows() {
    return [this.newer];
  }

  protected override render() {
    const { notice } = this.newer;
    return html`<div role="status">${notice ? this.#notice(notice) : nothing}</div>`;
  }

  #notice({ heading, words, offer }: NonNullable<NewerVersion['notice']>) {
    return html`<p><strong>${heading}.</strong> ${words}</p>
      ${
        offer
          ? html`<button type="button" @click=${() => this.newer.use()}>${offer}</button>`
          : nothing
      }`;
  }
}
