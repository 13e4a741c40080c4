import { html, nothing } from 'lit';
import { customElement, property, state } from 'lit/decorators.js';
import type { Bench } from '../steps/bench.ts';
import type { FileOut } from '../steps/file-out.ts';
import { calibrationsOf } from '../steps/logbook/calibrations-of.ts';
import type { Keeping } from '../steps/logbook/keeping.ts';
import type { LogbookState } from '../steps/logbook/logbook-desk.ts';
import { saveFile } from './save-file.ts';
import { View } from './view.ts';

/** Takes the logbook out as files: all of it, one board, or one calibration. */
@customElement('take-out-view')
export class TakeOutView extends View {
  @property({ attribute: false }) bench!: Bench;
  @property({ attribute: false }) keeping!: Keeping;
  /** The board whose page is open; all boards where none is. */
  @property({ attribute: false }) page: LogbookState['opened'];

  @state() private fault = '';

  protected override follows() {
    return [this.bench.exchange];
  }

  protected override render() {
    const isBusy = this.bench.exchange.state.work !== undefined;
    return html`<section class="sheet" aria-labelledby="take-out-heading">
      <h3 id="take-out-heading">Take out</h3>
      <p>As a file that can be brought in here or at another bench. Nothing here is changed.</p>
      ${
        this.page
          ? this.#ofBoard(this.page, isBusy)
          : html`<button type="button" ?disabled=${isBusy} @click=${() => this.#all()}>
              Take out everything (JSON)
            </button>`
      }
      <p role="status">${this.fault}</p>
    </section>`;
  }

  #ofBoard({ serial, entries }: NonNullable<LogbookState['opened']>, isBusy: boolean) {
    const { exchange } = this.bench;
    const calibrations = calibrationsOf(entries ?? []);
    return html`<button
        type="button"
        ?disabled=${isBusy}
        @click=${() => this.#save(exchange.takeOut({ board: serial }))}
      >
        Take out this board (JSON)
      </button>
      ${
        calibrations.length === 0
          ? nothing
          : html`<ul class="calibrations">
              ${calibrations.map(
                ({ id, name, readings }) =>
                  html`<li>
                    <span>${name}</span>
                    <button
                      type="button"
                      ?disabled=${isBusy}
                      aria-label="Take out the calibration ${name} (JSON)"
                      @click=${() => this.#save(exchange.takeOut({ board: serial, calibration: id }))}
                    >
                      Calibration (JSON)
                    </button>
                    ${
                      readings === 0
                        ? nothing
                        : html`<button
                            type="button"
                            ?disabled=${isBusy}
                            aria-label="Take out the readings of ${name} (CSV)"
                            @click=${() => this.#save(exchange.takeOutReadings(serial, id))}
                          >
                            Readings (CSV)
                          </button>`
                    }
                  </li>`,
              )}
            </ul>`
      }`;
  }

  async #all(): Promise<void> {
    const file = await this.#save(this.bench.exchange.takeOut());
    if (!file) return;
    const kept = await this.keeping.wasTakenOut(file.entries);
    this.fault = kept.ok ? '' : `That it was taken out could not be noted. ${kept.message}`;
  }

  async #save<File extends FileOut>(taking: Promise<File | undefined>): Promise<File | undefined> {
    const file = await taking;
    if (file) saveFile(file);
    return file;
  }
}

declare global {
  interface HTMLElementTagNameMap {
    'take-out-view': TakeOutView;
  }
}
