import { html, nothing } from 'lit';
import { customElement } from 'lit/decorators.js';
import { live } from 'lit/directives/live.js';
import { careOf } from '../steps/care/care-state.ts';
import { limitsWords, settingLines, settingText, snapshotWords } from '../steps/care/care-words.ts';
import type { SheetLine } from '../steps/care/settings-sheet.ts';
import { CareView } from './care-view.ts';
import { shape } from './shapes.ts';

/** A board's settings: the form is what the board itself says of them. */
@customElement('care-settings')
export class CareSettings extends CareView {
  protected override render() {
    const lines = settingLines(this.state);
    const { restartWaits, notBroughtBack = [] } = careOf(this.state);
    const count = lines.filter(({ changed }) => changed).length;
    const isWrong = lines.some(({ problem }) => problem !== undefined);
    const label =
      count === 0
        ? 'Nothing is changed'
        : `Send ${count === 1 ? 'the change' : `all ${count} changes`} to the board`;
    return html`
      <form @submit=${this.#submit} novalidate>
        <div class="fields">${lines.map((line) => this.#line(line))}</div>
        ${
          notBroughtBack.length > 0
            ? html`<h3>What that snapshot cannot bring back</h3>
                <ul>
                  ${notBroughtBack.map((each) => html`<li>${each}</li>`)}
                </ul>`
            : nothing
        }
        <div class="offers">
          <button
            type="submit"
            class="main"
            aria-disabled=${count > 0 && !isWrong && this.able ? 'false' : 'true'}
          >
            ${label}
          </button>
          ${
            count > 0
              ? html`<button type="button" @click=${() => this.care.wantNothing()}>
                  Leave them as they are
                </button>`
              : nothing
          }
        </div>
      </form>
      <p class="note">
        Changes are sent together, put in force in one step, and read back. If power fails in it,
        all of them are in force or none is.
      </p>
      ${
        restartWaits
          ? html`<div class="verdict watch">
                ${shape('watch')}
                <p>One of the changes takes effect only once the board has started again.</p>
              </div>
              <div class="offers">
                ${this.button('Start the board again', () => this.care.restart())}
              </div>`
          : nothing
      }
      ${this.#snapshots()}
    `;
  }

  #line({ setting, wanted, problem, changed }: SheetLine) {
    const { name, label, value, unit, restart, default: usual } = setting;
    const id = `setting-${name}`;
    const limits = limitsWords(setting);
    const notes = [
      ...(limits === undefined ? [] : [limits]),
      `usually ${settingText(usual, unit)}`,
      ...(restart ? ['takes effect when it has started again'] : []),
    ];
    return html`<div class="setting ${changed ? 'changed' : ''}">
      ${
        setting.kind === 'switch'
          ? html`<label class="choice">${this.#control(setting, wanted, id)} ${label}</label>`
          : html`<label class="field"
              >${label}${unit === undefined ? '' : `, ${unit}`}
              ${this.#control(setting, wanted, id)}
            </label>`
      }
      <p class="note" id="${id}-note">${notes.join('; ')}</p>
      ${
        problem !== undefined
          ? html`<p class="mark-line">${shape('bad')} It ${problem}.</p>`
          : changed
            ? html`<p class="mark-line">
                ${shape('now')} Changed, not sent: it is ${settingText(value, unit)} on the board.
              </p>`
            : nothing
      }
    </div>`;
  }

  #control(setting: SheetLine['setting'], wanted: string, id: string) {
    const { name, kind, min, max, decimals = 0, choices = [], longest } = setting;
    const want = (value: string) => this.care.want(name, value);
    const typed = (event: Event) => want((event.target as HTMLInputElement).value);
    const note = `${id}-note`;
    switch (kind) {
      case 'switch':
        return html`<input
          type="checkbox"
          aria-describedby=${note}
          .checked=${live(wanted === 'on')}
          @change=${(event: Event) =>
            want((event.target as HTMLInputElement).checked ? 'on' : 'off')}
        />`;
      case 'choice':
        return html`<select aria-describedby=${note} @change=${typed}>
          ${choices.map(
            (each) =>
              html`<option value=${each} .selected=${live(each === wanted)}>${each}</option>`,
          )}
        </select>`;
      case 'number':
        return html`<input
          type="number"
          aria-describedby=${note}
          min=${min ?? nothing}
          max=${max ?? nothing}
          step=${(10 ** -decimals).toFixed(decimals)}
          .value=${live(wanted)}
          @change=${typed}
        />`;
      case 'text':
        return html`<input
          type="text"
          aria-describedby=${note}
          autocomplete="off"
          maxlength=${longest ?? nothing}
          .value=${live(wanted)}
          @change=${typed}
        />`;
    }
  }

  #snapshots() {
    const { snapshots, serial } = careOf(this.state);
    return html`
      <h3>Settings from the logbook</h3>
      ${
        snapshots === undefined
          ? html`<div class="offers">
              ${this.button('Look for earlier ones', () => this.care.lookForSnapshots())}
            </div>`
          : snapshots.length === 0
            ? html`<p>
                The logbook has no earlier settings of this board, and none of another of its kind.
              </p>`
            : html`<p>
                  Taking some up shows above what differs; nothing is sent before you say so.
                </p>
                <ul class="plain snapshots">
                  ${snapshots.map(
                    (each) =>
                      html`<li>
                        <button type="button" @click=${() => this.care.stage(each)}>
                          Take up: ${snapshotWords(each, serial)}
                        </button>
                      </li>`,
                  )}
                </ul>`
      }
    `;
  }

  #submit(event: SubmitEvent) {
    event.preventDefault();
    const lines = settingLines(this.state);
    const isReady = lines.some(({ changed }) => changed) && this.able;
    if (isReady && lines.every(({ problem }) => problem === undefined)) {
      void this.care.sendSettings();
    }
  }
}
