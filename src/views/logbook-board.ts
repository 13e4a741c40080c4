import { html } from 'lit';
import { customElement, property } from 'lit/decorators.js';
import type { Bench } from '../steps/bench.ts';
import type { LogbookState } from '../steps/logbook/logbook-desk.ts';
import './readings-under-view.ts';
import './sets-view.ts';
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
              <details class="sheet">
                <summary><h2>Coefficients</h2></summary>
                <sets-view
                  .bench=${this.bench}
                  .serial=${serial}
                  .entries=${entries}
                  .readOnly=${this.state.readOnly}
                ></sets-view>
              </details>
              <details class="sheet">
                <summary><h2>Readings under other coefficients</h2></summary>
                <readings-under-view .serial=${serial} .entries=${entries}></readings-under-view>
              </details>
            </div>`
      }
    `;
  }
}
