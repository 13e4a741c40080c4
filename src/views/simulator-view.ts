import { html, nothing, type PropertyValues } from 'lit';
import { customElement, property, state } from 'lit/decorators.js';
import {
  BOARD_FAULTS,
  isBoardFault,
  MOUNTINGS,
  type SimulatorSettings,
} from '../steps/place-state.ts';
import { View } from './view.ts';

/** A person set the simulated board. */
export class AdjustEvent extends Event {
  static readonly type = 'adjust';
  constructor(readonly change: Partial<SimulatorSettings>) {
    super(AdjustEvent.type, { bubbles: true });
  }
}

type NumberName = Exclude<
  keyof SimulatorSettings,
  'accMounting' | 'magMounting' | 'faults' | 'boardFault' | 'hasRange'
>;

interface Knob {
  name: NumberName;
  label: string;
  min: number;
  max: number;
  step: number | 'any';
}

const KNOBS: readonly Knob[] = [
  {
    name: 'accNoise',
    label: 'Noise of gravity, thousandths of 1 g',
    min: 0,
    max: 50,
    step: 'any',
  },
  { name: 'magNoise', label: 'Noise of the field, % of it', min: 0, max: 20, step: 'any' },
  { name: 'aim', label: 'How well the hand aims, degrees', min: 0, max: 45, step: 'any' },
  {
    name: 'rollAim',
    label: 'How well it turns to the roll, degrees',
    min: 0,
    max: 45,
    step: 'any',
  },
  { name: 'dip', label: 'Dip of the field, degrees', min: -90, max: 90, step: 'any' },
  { name: 'disturbance', label: 'Steel near by, % of the field', min: 0, max: 100, step: 'any' },
  { name: 'curvature', label: 'Curvature of the accelerometer', min: -0.1, max: 0.1, step: 'any' },
];

const FAULTS = [
  { name: 'lose', label: 'Bytes lost, chance of each', max: 1 },
  { name: 'double', label: 'Bytes doubled, chance of each', max: 1 },
  { name: 'flip', label: 'Bytes flipped, chance of each', max: 1 },
  { name: 'delayMs', label: 'Longest delay, milliseconds', max: 60_000 },
] as const;

/** How the simulated board, its hand, its place and its link are. */
@customElement('simulator-view')
export class SimulatorView extends View {
  @property({ attribute: false }) settings!: SimulatorSettings;
  /** While it is linked it stays the same board. */
  @property({ type: Boolean }) linked = false;
  @property({ type: Boolean }) busy = false;
  /** Something was typed since it was set. */
  @state() private isTyped = false;

  protected override willUpdate(changes: PropertyValues<this>): void {
    super.willUpdate(changes);
    if (changes.has('settings')) this.isTyped = false;
  }

  protected override render() {
    const { settings } = this;
    return html`<form @submit=${this.#submit} @input=${() => (this.isTyped = true)}>
      <p>
        Make it as good or as bad as you like: this is where to see what noise, steel or a poor link
        do.
      </p>
      <fieldset ?disabled=${this.linked}>
        <legend>Which board</legend>
        ${this.linked ? html`<p class="note">Link another board to change this.</p>` : nothing}
        <div class="fields">
          <label class="field"
            >Seed: the same number gives the same board
            <input
              type="number"
              name="seed"
              .value=${String(settings.seed)}
              min="0"
              max="4294967295"
              step="1"
              required
            />
          </label>
          ${this.#mounting('accMounting', 'How the accelerometer sits')}
          ${this.#mounting('magMounting', 'How the magnetometer sits')}
          <label class="choice"
            ><input type="checkbox" name="hasRange" .checked=${settings.hasRange ?? false} /> It has
            a range module, off by what its seed says</label
          >
        </div>
      </fieldset>
      <fieldset>
        <legend>Sensors, hand and place</legend>
        <div class="fields">
          ${KNOBS.map(
            ({ name, label, min, max, step }) =>
              html`<label class="field"
                >${label}
                <input
                  type="number"
                  name=${name}
                  .value=${String(settings[name])}
                  min=${min}
                  max=${max}
                  step=${step}
                  required
                />
              </label>`,
          )}
        </div>
      </fieldset>
      <label class="field"
        >What is wrong with the board
        <select name="boardFault">
          ${Object.entries(BOARD_FAULTS).map(
            ([fault, words]) =>
              html`<option value=${fault} .selected=${fault === (settings.boardFault ?? 'none')}>
                ${words}
              </option>`,
          )}
        </select>
      </label>
      <fieldset>
        <legend>Faults of the link</legend>
        <div class="fields">
          ${FAULTS.map(
            ({ name, label, max }) =>
              html`<label class="field"
                >${label}
                <input
                  type="number"
                  name=${name}
                  .value=${String(settings.faults[name])}
                  min="0"
                  max=${max}
                  step="any"
                  required
                />
              </label>`,
          )}
        </div>
      </fieldset>
      <p class="note" role="status">
        ${
          !this.isTyped
            ? nothing
            : this.linked
              ? 'What you typed is not set yet.'
              : 'What you typed is used when the board is linked.'
        }
      </p>
      <button type="submit" aria-disabled=${this.busy ? 'true' : 'false'}>
        Set the simulated board
      </button>
    </form>`;
  }

  #mounting(name: 'accMounting' | 'magMounting', label: string) {
    return html`<label class="field"
      >${label}
      <select name=${name}>
        ${MOUNTINGS.map(
          (mounting) =>
            html`<option value=${mounting} .selected=${mounting === this.settings[name]}>
              ${mounting}
            </option>`,
        )}
      </select>
    </label>`;
  }

  /**
   * What is typed into the form, set or not; where something in it cannot be, that is pointed out, and there is nothing.
   */
  typed(): Partial<SimulatorSettings> | undefined {
    const form = this.querySelector('form')!;
    if (!form.checkValidity()) {
      const sheet = this.closest('details');
      if (sheet) sheet.open = true; // a field that is not shown cannot be pointed at
      form.reportValidity();
      return undefined;
    }
    const data = new FormData(form);
    const number = (name: string) => Number(data.get(name));
    const names: readonly NumberName[] = KNOBS.map(({ name }) => name);
    const change: Partial<SimulatorSettings> = Object.fromEntries(
      names.map((name) => [name, number(name)]),
    );
    change.faults = {
      lose: number('lose'),
      double: number('double'),
      flip: number('flip'),
      delayMs: number('delayMs'),
    };
    const fault = String(data.get('boardFault'));
    if (isBoardFault(fault)) change.boardFault = fault;
    if (!this.linked) {
      change.seed = number('seed');
      change.hasRange = data.has('hasRange');
      change.accMounting = String(data.get('accMounting'));
      change.magMounting = String(data.get('magMounting'));
    }
    return change;
  }

  #submit(event: SubmitEvent) {
    event.preventDefault();
    const change = this.typed();
    if (change && !this.busy) this.dispatchEvent(new AdjustEvent(change));
  }
}
