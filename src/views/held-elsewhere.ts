import { html, nothing } from 'lit';
import { customElement, property } from 'lit/decorators.js';
import type { Bench } from '../steps/bench.ts';
import { View } from './view.ts';

/** That another page has the bench, what can be done here meanwhile, and, once it is free, the tap that takes it over. */
@customElement('held-elsewhere')
export class HeldElsewhere extends View {
  @property({ attribute: false }) bench!: Bench;
  @property() elsewhere!: 'held' | 'free';
  /** The logbook is what is shown beside it. */
  @property({ type: Boolean }) atLogbook = false;

  protected override render() {
    const isFree = this.elsewhere === 'free';
    return html`<section class="next elsewhere" role="status">
      <h2>${isFree ? 'The bench is free' : 'Another page has the bench'}</h2>
      <p class="words">
        ${
          isFree
            ? 'The other page has let it go, and what it wrote is in the logbook. Take it over to go on here, with the boards that were on it.'
            : 'Lodebench is open in another tab or window, and only one page at a time works with boards and writes to the logbook. Here you can look at the logbook, the check courses and the workshops, which follow what the other page writes. Once that page is closed, the bench can be taken over here.'
        }
      </p>
      <div class="offers">
        ${
          isFree
            ? html`<button type="button" class="main" @click=${() => void this.bench.open()}>
                Take the bench over
              </button>`
            : nothing
        }
        ${this.atLogbook ? nothing : html`<a href="#logbook">Look at the logbook</a>`}
      </div>
    </section>`;
  }
}
