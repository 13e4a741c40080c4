import { html, nothing, type TemplateResult } from 'lit';
import { customElement, property, state } from 'lit/decorators.js';
import type { Bench } from '../steps/bench.ts';
import type { LogbookState } from '../steps/logbook/logbook-desk.ts';
import { boardFactsInShort } from '../steps/logbook/board-facts.ts';
import './again-view.ts';
import './course-view.ts';
import './drift-view.ts';
import './readings-under-view.ts';
import './remark-form.ts';
import './sets-view.ts';
import { View } from './view.ts';
import { factList } from './fact-list.ts';

/** All that the logbook knows of one board. */
@customElement('logbook-board')
export class LogbookBoard extends View {
  @property({ attribute: false }) bench!: Bench;
  @property({ attribute: false }) state!: LogbookState;
  /** Another page has the bench: nothing is written here. */
  @property({ type: Boolean }) readOnly = false;
  /** Titles of the sheets that a person has opened. */
  @state() private asked: ReadonlySet<string> = new Set();

  protected override render() {
    const { serial, entries } = this.state.opened!;
    const board = this.bench.logbook.lineOf(serial);
    return html`
      <p><a class="way-back" href="#logbook">All boards</a></p>
      <h2 id="logbook-heading" tabindex="-1">
        ${board?.name ? `${board.name}, ${serial}` : `Board ${serial}`}
      </h2>
      ${board ? factList(boardFactsInShort(board), 'board-facts') : nothing}
      ${
        entries === undefined
          ? html`<p>Reading the logbook…</p>`
          : html`<div class="sheets">
              ${
                board
                  ? html`<again-view
                      .desk=${this.bench.logbook}
                      .board=${board}
                      .thresholds=${this.state.thresholds}
                      .readOnly=${this.readOnly}
                    ></again-view>`
                  : nothing
              }
              ${
                this.readOnly
                  ? nothing
                  : html`<details class="sheet" open>
                      <summary><h2>Write something down</h2></summary>
                      <remark-form .bench=${this.bench} .serial=${serial}></remark-form>
                    </details>`
              }
              <details class="sheet" open>
                <summary><h2>What happened to it</h2></summary>
                <course-view
                  .bench=${this.bench}
                  .serial=${serial}
                  .entries=${entries}
                  .readOnly=${this.readOnly}
                ></course-view>
              </details>
              <details class="sheet" open>
                <summary><h2>How it drifts</h2></summary>
                <drift-view .entries=${entries}></drift-view>
              </details>
              ${this.#closedSheet(
                'Coefficients',
                () =>
                  html`<sets-view
                    .bench=${this.bench}
                    .serial=${serial}
                    .entries=${entries}
                    .readOnly=${this.readOnly}
                  ></sets-view>`,
              )}
              ${this.#closedSheet(
                'Readings under other coefficients',
                () =>
                  html`<readings-under-view
                    .serial=${serial}
                    .entries=${entries}
                  ></readings-under-view>`,
              )}
            </div>`
      }
    `;
  }

  /** What takes long to draw is drawn when it is asked for. */
  #closedSheet(title: string, content: () => TemplateResult) {
    return html`<details class="sheet" @toggle=${() => this.#open(title)}>
      <summary><h2>${title}</h2></summary>
      ${this.asked.has(title) ? content() : nothing}
    </details>`;
  }

  #open(title: string) {
    if (!this.asked.has(title)) this.asked = new Set([...this.asked, title]);
  }
}
