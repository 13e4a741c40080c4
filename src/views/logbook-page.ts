import { html, nothing } from 'lit';
import { customElement, property } from 'lit/decorators.js';
import type { Bench } from '../steps/bench.ts';
import type { Keeping } from '../steps/logbook/keeping.ts';
import './bring-in-view.ts';
import './keeping-view.ts';
import './logbook-board.ts';
import './logbook-boards.ts';
import './opened-view.ts';
import './readings-from-sheet-view.ts';
import './take-out-view.ts';
import { View } from './view.ts';

/** The logbook part of the page: the list of all boards, or what is known of one. */
@customElement('logbook-page')
export class LogbookPage extends View {
  @property({ attribute: false }) bench!: Bench;
  @property({ attribute: false }) keeping!: Keeping;

  protected override follows() {
    return [this.bench.logbook, this.bench];
  }

  protected override render() {
    const { state } = this.bench.logbook;
    const { boards, opened, trouble } = state;
    // what stands below the list comes with it: it would jump down once that has been read
    const isRead = trouble !== undefined || (opened ? opened.entries : boards) !== undefined;
    return html`
      ${
        trouble === undefined
          ? nothing
          : html`<div class="sheet notice" role="alert">
              <h3>The logbook could not be read</h3>
              <p>${trouble}</p>
            </div>`
      }
      ${
        opened
          ? html`<logbook-board
              .bench=${this.bench}
              .state=${state}
              .readOnly=${this.bench.elsewhere !== undefined}
            ></logbook-board>`
          : html`<logbook-boards .desk=${this.bench.logbook} .state=${state}></logbook-boards>`
      }
      <div class="part" ?hidden=${!isRead}>
        ${opened ? nothing : html`<keeping-view .keeping=${this.keeping}></keeping-view>`}
        ${opened ? html`<opened-view .bench=${this.bench} .page=${opened}></opened-view>` : nothing}
        <readings-from-sheet-view .bench=${this.bench} .opened=${opened}></readings-from-sheet-view>
        <take-out-view
          .bench=${this.bench}
          .keeping=${this.keeping}
          .page=${opened}
        ></take-out-view>
        ${
          this.bench.elsewhere === undefined
            ? html`<bring-in-view .bench=${this.bench}></bring-in-view>`
            : nothing
        }
      </div>
    `;
  }
}

declare global {
  interface HTMLElementTagNameMap {
    'logbook-page': LogbookPage;
  }
}
