import { html, nothing } from 'lit';
import { customElement, property, state } from 'lit/decorators.js';
import type { BoardInShort, LogbookDesk } from '../steps/logbook/logbook-desk.ts';
import {
  againLine,
  againStanding,
  THRESHOLD_LIMITS,
  type Reason,
  type Thresholds,
} from '../steps/logbook/when-again.ts';
import { dayWords } from '../steps/time-words.ts';
import { shape } from './shapes.ts';
import { View } from './view.ts';

/** When a board is to be calibrated again, why, and by what that is told. */
@customElement('again-view')
export class AgainView extends View {
  @property({ attribute: false }) desk!: LogbookDesk;
  @property({ attribute: false }) board!: BoardInShort;
  @property({ attribute: false }) thresholds!: Thresholds;
  @property({ type: Boolean }) readOnly = false;
  /** What came of keeping other thresholds. */
  @state() private said = '';

  protected override render() {
    const again = this.desk.again(this.board);
    const standing = againStanding(again);
    return html`<section class="sheet again" aria-labelledby="again-heading">
      <h2 id="again-heading" class="unseen">When to calibrate again</h2>
      <div class="verdict ${standing}">
        ${shape(standing)}
        <p class="large">${againLine(again)}.</p>
      </div>
      <ul>
        ${again.reasons.map((reason) => this.#reason(reason))}
      </ul>
      <details>
        <summary>What this goes by</summary>
        ${this.#rules()}
      </details>
    </section>`;
  }

  #reason({ because, evidence, when }: Reason) {
    return html`<li>
      <strong>${because[0]!.toUpperCase()}${because.slice(1)}.</strong>
      ${evidence}
      ${when === undefined ? nothing : html`<span class="note">${dayWords(when)}</span>`}
    </li>`;
  }

  #rules() {
    const { months, degrees } = this.thresholds;
    return html`<form @submit=${this.#keep}>
      <p>
        Common practice in the trade, with no published source: calibrate again after a season, a
        knock, a change of battery or of firmware, a proof or a check in the field that did not
        pass, when the coefficients were lost or set back, and when it is used much colder or warmer
        than it was calibrated. Every one of these is a sign, and none of them a measurement: only a
        proof shows how true it is now.
      </p>
      <div class="fields">
        <label class="field"> A season, in months ${this.#number('months', months)} </label>
        <label class="field"> Colder or warmer by, °C ${this.#number('degrees', degrees)} </label>
      </div>
      ${
        this.readOnly
          ? nothing
          : html`<p class="offers"><button type="submit">Go by these, for every board</button></p>`
      }
      <p role="status">${this.said}</p>
    </form>`;
  }

  #number(name: keyof Thresholds, value: number) {
    const [least, most] = THRESHOLD_LIMITS[name];
    return html`<input
      type="number"
      name=${name}
      min=${least}
      max=${most}
      step="1"
      required
      ?disabled=${this.readOnly}
      .value=${String(value)}
    />`;
  }

  #keep = async (event: SubmitEvent) => {
    event.preventDefault();
    const form = new FormData(event.target as HTMLFormElement);
    const of = (name: keyof Thresholds) => Number(form.get(name));
    const fault = await this.desk.setThresholds({ months: of('months'), degrees: of('degrees') });
    this.said = fault ?? 'Kept.';
  };
}
