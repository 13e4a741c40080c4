import { html, nothing } from 'lit';
import { customElement } from 'lit/decorators.js';
import { careOf } from '../steps/care/care-state.ts';
import { clockWords, EYE_SAFETY } from '../steps/care/care-words.ts';
import { CareView } from './care-view.ts';
import { shape } from './shapes.ts';

/** What its keeper calls a board, its clock, its light, and a reading at a touch. */
@customElement('care-name')
export class CareName extends CareView {
  protected override render() {
    const { light } = careOf(this.state);
    const clock = clockWords(this.state);
    return html`
      ${this.#name()}
      ${
        clock === undefined
          ? nothing
          : html`<h3>Clock</h3>
              <p>${clock}</p>
              <div class="offers">
                ${this.button('Set it by this machine’s clock', () => this.care.setClock())}
              </div>`
      }
      ${light === undefined ? nothing : this.#light(light)} ${this.#trigger()}
    `;
  }

  #name() {
    const { identity } = this.state.history;
    return html`<form class="one-line" @submit=${this.#rename}>
      <label class="field"
        >What it is called
        <input
          type="text"
          name="name"
          maxlength="20"
          autocomplete="off"
          .value=${identity?.name ?? ''}
        />
      </label>
      <button type="submit" aria-disabled=${this.able ? 'false' : 'true'}>Call it so</button>
      <p class="note">
        The board itself keeps its name and says it to whoever links it. Its serial number stays
        ${identity?.serial}.
      </p>
    </form>`;
  }

  #light(light: 'on' | 'off') {
    return html`
      <h3>Pointer light</h3>
      <div class="verdict watch">
        ${shape('watch')}
        <p><strong>Never into an eye.</strong> ${EYE_SAFETY}</p>
      </div>
      <p>The light is ${light}.</p>
      <div class="offers">
        ${this.button(light === 'on' ? 'Switch the light off' : 'Switch the light on', () =>
          this.care.setLight(light === 'on' ? 'off' : 'on'),
        )}
      </div>
    `;
  }

  #trigger() {
    const { calibration } = this.state.history;
    const open = calibration !== undefined && !calibration.ended;
    return html`
      <h3>A reading, without touching the board</h3>
      ${
        open
          ? html`<p>
              A calibration is open: its readings are taken with the buttons beside “Next”, so that
              each gets its place.
            </p>`
          : html`<p>Hold it still; the reading goes into the logbook, for no calibration.</p>
              <div class="offers">${this.button('Take a reading', () => this.care.trigger())}</div>`
      }
    `;
  }

  #rename(event: SubmitEvent) {
    event.preventDefault();
    if (!this.able) return;
    const data = new FormData(event.target as HTMLFormElement);
    void this.care.rename(String(data.get('name') ?? '').trim());
  }
}
