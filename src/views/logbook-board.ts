import { html } from 'lit';
import { customElement, property } from 'lit/decorators.js';
import type { Bench } from '../steps/bench.ts';
import type { LogbookState } from '../steps/logbook/logbook-desk.ts';
import { View } from './view.ts';

/** All that the logbook knows of one board. */
@customElement('logbook-board')
export class LogbookBoard extends View {
  @property({ attribute: false }) bench!: Bench;
  @property({ attribute: false }) state!: LogbookState;

  protected override render() {
    const { serial, entries } = this.state.opened!;
    const board = this.state.boards?.find((each) => each.serial === serial);
    return html`
      <p><a href="#logbook">All boards</a></p>
      <h2 id="logbook-heading" tabindex="-1">
        ${board?.name ? `${board.name}, ${serial}` : `Board ${serial}`}
      </h2>
      ${
        entries === undefined
          ? html`<p>Reading the logbook…</p>`
          : html`<div class="sheets">
              <p class="sheet">${entries.length} entries</p>
            </div>`
      }
    `;
  }
}
