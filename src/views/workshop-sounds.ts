import { html, nothing } from 'lit';
import { customElement, property, state } from 'lit/decorators.js';
import type { Bench } from '../steps/bench.ts';
import type { PlaceState, Told } from '../steps/place-state.ts';
import { signalOf, toneOf } from '../steps/workshop/kit-signals.ts';
import { kitName } from '../steps/workshop/kit-words.ts';
import type { KitRow } from '../steps/workshop/workshop-desk.ts';
import { ReadingSignals } from './reading-signals.ts';
import { View } from './view.ts';

/** So many of the latest are shown. */
const SHOWN = 5;
/** Sounds wait for each other; where more than so many wait, a reading is told by its words alone. */
const MOST_WAITING = 4;

/**
 * Tells the room which board's reading landed, by a tone for each kit, and what went wrong or is done; in words beside it.
 * While it is shown and switched on, the bench's own sounds leave the board at hand to it.
 */
@customElement('workshop-sounds')
export class WorkshopSounds extends View {
  @property({ attribute: false }) bench!: Bench;
  @property({ attribute: false }) kits!: readonly KitRow[];
  @state() private heard: readonly string[] = [];
  /** A sound was due that could not be heard. */
  @state() private missed = false;
  readonly #signals = new ReadingSignals();
  /** As each board was last, by its serial number. */
  readonly #before = new Map<string, PlaceState>();
  #playing: Promise<void> = Promise.resolve();
  #waiting = 0;

  protected override follows() {
    return [this.bench, this.bench.choices];
  }

  override connectedCallback(): void {
    super.connectedCallback();
    for (const gesture of ['pointerdown', 'keydown']) addEventListener(gesture, this.#wake);
  }

  override disconnectedCallback(): void {
    super.disconnectedCallback();
    for (const gesture of ['pointerdown', 'keydown']) removeEventListener(gesture, this.#wake);
    this.#signals.end();
  }

  protected override willUpdate(changes: Map<PropertyKey, unknown>): void {
    super.willUpdate(changes);
    for (const { serial, state } of this.bench.places) {
      if (serial === undefined) continue;
      const before = this.#before.get(serial);
      this.#before.set(serial, state);
      const index = this.kits.findIndex((row) => row.serial === serial);
      if (!before || before === state || index < 0) continue;
      const told = signalOf(before, state);
      if (told) this.#tell(index, told);
    }
  }

  protected override render() {
    if (!ReadingSignals.can.sounds) {
      return html`<p>This browser has no sound for pages.</p>`;
    }
    const { boardTones } = this.bench.choices.now;
    return html`<section class="sheet" aria-labelledby="sounds-heading">
      <h3 id="sounds-heading">A tone for each kit</h3>
      <label class="choice">
        <input
          type="checkbox"
          .checked=${boardTones}
          @change=${(event: Event) => {
            const on = (event.target as HTMLInputElement).checked;
            if (on) this.#signals.wake(); // in the gesture itself
            void this.bench.choices.choose({ boardTones: on });
          }}
        />
        Sound the kit’s own tone when a reading of its board lands
      </label>
      <p class="note">
        The tone is higher from kit to kit. After it: two low notes for trouble, three rising when a
        sighting is complete, five when a board is proven. It sounds while this page is shown, for
        boards that people turn; a simulated board that its own hand turns says only trouble and the
        end.
      </p>
      ${this.missed ? html`<p class="note">The browser lets this page be heard only after a tap or a key: tap anywhere once.</p>` : nothing}
      ${
        boardTones
          ? html`<div class="workshop-heard" role="log" aria-label="What was told">
              ${this.heard.map((words) => html`<p>${words}</p>`)}
            </div>`
          : nothing
      }
      ${
        this.kits.length === 0
          ? nothing
          : html`<details>
              <summary>Hear the tones</summary>
              <div class="offers">
                ${this.kits.map(
                  (row, i) =>
                    html`<button type="button" @click=${() => this.#try(i)}>
                      ${[row.place, kitName(row)].filter(Boolean).join(', ')}
                    </button>`,
                )}
              </div>
            </details>`
      }
    </section>`;
  }

  #tell(index: number, told: Told): void {
    if (!this.bench.choices.now.boardTones) return;
    const row = this.kits[index]!;
    const who = [row.place && `Place ${row.place}`, kitName(row)].filter(Boolean).join(', ');
    const words = `${who}: ${told.words}`;
    this.heard = [words, ...this.heard].slice(0, SHOWN);
    this.missed = this.#signals.isMute;
    if (told.kind === 'taken' && this.#waiting >= MOST_WAITING) return;
    this.#sound(told.kind, index);
  }

  /** After whatever sounds now: two at once could not be told apart. */
  #sound(kind: Told['kind'], index: number): void {
    this.#waiting++;
    this.#playing = this.#playing
      .then(() => this.#signals.sound(kind, toneOf(index)))
      .finally(() => this.#waiting--);
  }

  #try(index: number): void {
    this.#signals.wake();
    this.#sound('taken', index);
  }

  readonly #wake = (): void => {
    if (this.bench.choices.now.boardTones) this.#signals.wake();
    this.missed = false;
  };
}

declare global {
  interface HTMLElementTagNameMap {
    'workshop-sounds': WorkshopSounds;
  }
}
