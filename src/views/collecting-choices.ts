import { html, nothing } from 'lit';
import { customElement, property } from 'lit/decorators.js';
import type { Bench } from '../steps/bench.ts';
import {
  STILL_FOR,
  WITHIN,
  type CollectingChoices as Choices,
} from '../steps/collecting/collecting-choices.ts';
import type { Told } from '../steps/place-state.ts';
import { ReadingSignals } from './reading-signals.ts';
import { View } from './view.ts';

/** A person wants to hear or feel how something is told. */
export class TrySignalEvent extends Event {
  static readonly type = 'try-signal';
  constructor(readonly kind: Told['kind']) {
    super(TrySignalEvent.type, { bubbles: true });
  }
}

const TRIES: readonly [Told['kind'], string][] = [
  ['taken', 'Taken'],
  ['doubted', 'Taken, in doubt'],
  ['refused', 'Not taken'],
  ['whole', 'Sighting complete'],
  ['done', 'All done'],
];

/** How readings are told without looking, and whether they take themselves. */
@customElement('collecting-choices')
export class CollectingChoicesView extends View {
  @property({ attribute: false }) bench!: Bench;

  protected override follows() {
    return [this.bench.choices];
  }

  protected override render() {
    const { byItself, within, stillFor } = this.bench.choices.now;
    const { can } = ReadingSignals;
    return html`<details>
      <summary>Without looking: sound, voice, readings by themselves</summary>
      <fieldset>
        <legend>When a reading is taken, or is not</legend>
        ${can.sounds ? this.#choice('sounds', 'A short sound') : nothing}
        ${can.vibration ? this.#choice('vibration', 'Vibration') : nothing}
        ${can.speech ? this.#choice('speech', 'A voice, which says what is next too') : nothing}
        ${
          can.sounds || can.vibration || can.speech
            ? html`<p class="note">Try how each is told, as chosen above:</p>
                <div class="signal-tries">
                  ${TRIES.map(
                    ([kind, label]) =>
                      html`<button
                        type="button"
                        @click=${() => this.dispatchEvent(new TrySignalEvent(kind))}
                      >
                        ${label}
                      </button>`,
                  )}
                </div>`
            : html`<p>This browser has neither sound nor vibration nor a voice for pages.</p>`
        }
      </fieldset>
      <fieldset>
        <legend>Readings by themselves</legend>
        ${this.#choice('byItself', 'Take it when held still at the aim')}
        <p class="note">
          Aim at your mark first, then come to rest: what counts as the aim here is only near it.
        </p>
        <div class="fields">
          ${this.#list('within', 'At the aim: within', WITHIN, within, '°')}
          ${this.#list('stillFor', 'Held still for', STILL_FOR, stillFor, ' s')}
        </div>
        ${byItself ? html`<p class="note">The trigger and the button work as before.</p>` : nothing}
      </fieldset>
    </details>`;
  }

  #choice(name: 'sounds' | 'vibration' | 'speech' | 'byItself', label: string) {
    return html`<label class="choice">
      <input
        type="checkbox"
        .checked=${this.bench.choices.now[name]}
        @change=${(event: Event) =>
          void this.bench.choices.choose({ [name]: (event.target as HTMLInputElement).checked })}
      />
      ${label}
    </label>`;
  }

  #list(
    name: keyof Pick<Choices, 'within' | 'stillFor'>,
    label: string,
    values: readonly number[],
    now: number,
    unit: string,
  ) {
    return html`<label class="field"
      >${label}
      <select
        @change=${(event: Event) =>
          void this.bench.choices.choose({
            [name]: Number((event.target as HTMLSelectElement).value),
          })}
      >
        ${values.map(
          (value) =>
            html`<option value=${value} .selected=${value === now}>${value}${unit}</option>`,
        )}
      </select>
    </label>`;
  }
}
