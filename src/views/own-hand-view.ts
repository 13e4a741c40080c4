import { html } from 'lit';
import { customElement, property, state } from 'lit/decorators.js';
import type { BenchPlace } from '../steps/place.ts';
import type { Attitude, PlaceState } from '../steps/place-state.ts';
import { View } from './view.ts';

/** Degrees of one turn. */
const STEPS = [1, 5, 15, 45] as const;

/** The way each key turns the board, in steps; a quarter turn about the sight has keys of its own. */
const KEYS: Record<string, (step: number) => Partial<Attitude>> = {
  ArrowLeft: (step) => ({ azimuth: -step }),
  ArrowRight: (step) => ({ azimuth: step }),
  ArrowUp: (step) => ({ inclination: step }),
  ArrowDown: (step) => ({ inclination: -step }),
  PageUp: () => ({ roll: -90 }),
  PageDown: () => ({ roll: 90 }),
};

const TURNS: readonly { label: string; by(step: number): Partial<Attitude> }[] = [
  { label: 'Left', by: (step) => ({ azimuth: -step }) },
  { label: 'Right', by: (step) => ({ azimuth: step }) },
  { label: 'Up', by: (step) => ({ inclination: step }) },
  { label: 'Down', by: (step) => ({ inclination: -step }) },
  { label: 'Roll left', by: (step) => ({ roll: -step }) },
  { label: 'Roll right', by: (step) => ({ roll: step }) },
  { label: 'Quarter roll left', by: () => ({ roll: -90 }) },
  { label: 'Quarter roll right', by: () => ({ roll: 90 }) },
];

/** A person's hand for a simulated board: buttons and keys turn it step by step. */
@customElement('own-hand-view')
export class OwnHandView extends View {
  @property({ attribute: false }) place!: BenchPlace;
  @property({ attribute: false }) state!: PlaceState;
  @state() private step: number = 5;

  protected override render() {
    const hasTrigger = this.state.history.identity?.capabilities.includes('trigger') === true;
    return html`
      <h3>Turn the board</h3>
      <p class="note" id="turn-keys">
        While a button here has the focus the arrow keys turn it too, and Page up and Page down roll
        it by a quarter.
      </p>
      <div
        class="turn-pad"
        role="group"
        aria-label="Turn the board"
        aria-describedby="turn-keys"
        @keydown=${this.#key}
      >
        ${TURNS.map(
          ({ label, by }) =>
            html`<button type="button" @click=${() => this.#turn(by(this.step))}>${label}</button>`,
        )}
        <label class="field"
          >One step
          <select
            @change=${(event: Event) => (this.step = Number((event.target as HTMLSelectElement).value))}
          >
            ${STEPS.map(
              (step) =>
                html`<option value=${step} .selected=${step === this.step}>${step}°</option>`,
            )}
          </select>
        </label>
        ${
          hasTrigger
            ? html`<button type="button" @click=${() => void this.place.pressTrigger()}>
                Press its trigger
              </button>`
            : ''
        }
      </div>
      <button type="button" @click=${() => void this.place.turnMyself(false)}>
        Let its own hand turn it
      </button>
    `;
  }

  #turn(by: Partial<Attitude>): void {
    void this.place.turnBy(by);
  }

  #key(event: KeyboardEvent): void {
    if ((event.target as HTMLElement).localName === 'select') return; // its own keys
    const by = KEYS[event.key];
    if (!by || event.altKey || event.ctrlKey || event.metaKey) return;
    event.preventDefault(); // the page would scroll
    this.#turn(by(this.step));
  }
}
