import { html, nothing } from 'lit';
import { customElement, property, query, state } from 'lit/decorators.js';
import type { Bench } from '../steps/bench.ts';
import {
  asChosen,
  eventWords,
  proofsOfSetWords,
  setName,
  setsOfBoard,
  type ChosenSet,
  type SetOfBoard,
  type SetsOfBoard,
  type StoredEntry,
} from '../steps/logbook/sets-of-board.ts';
import { setOut, WAY_OUT_LABELS, WAYS_OUT, type WayOut } from '../steps/logbook/sets-out.ts';
import { openUpdate } from '../steps/care/care-history.ts';
import type { BenchPlace } from '../steps/place.ts';
import { sealingWords } from '../steps/sealing-words.ts';
import { timeWords } from '../steps/time-words.ts';
import './entering-view.ts';
import { saveFile } from './save-file.ts';
import { askToSeal, sealingForm } from './sealing-form.ts';
import { shape } from './shapes.ts';
import { View } from './view.ts';

/** Every set of coefficients that a board had or could have: to look at, to put on it again, and to take out. */
@customElement('sets-view')
export class SetsView extends View {
  @property({ attribute: false }) bench!: Bench;
  @property() serial = '';
  @property({ attribute: false }) entries: readonly StoredEntry[] = [];
  /** What a person is asked about putting on the board, which board that is, and where it is. */
  @state() private asked: { place: BenchPlace; serial: string; chosen: ChosenSet } | undefined;
  @state() private saved = '';
  @query('dialog') private dialog!: HTMLDialogElement | null;
  #of: { entries: readonly StoredEntry[]; sets: SetsOfBoard } | undefined;

  protected override follows() {
    return [this.bench];
  }

  /** Folded once for the same entries. */
  get #sets(): SetsOfBoard {
    if (this.#of?.entries !== this.entries) {
      this.#of = { entries: this.entries, sets: setsOfBoard(this.entries) };
    }
    return this.#of.sets;
  }

  /** Where the board is linked, and free for such work. */
  get #place(): BenchPlace | undefined {
    return this.bench.places.find(
      ({ serial, state: { link, work, history } }) =>
        serial === this.serial &&
        link.state === 'linked' &&
        work === undefined &&
        openUpdate(history.care) === undefined,
    );
  }

  protected override render() {
    const { sets } = this.#sets;
    return html`
      ${
        sets.length === 0
          ? html`<p>No coefficients of this board are in the logbook yet.</p>`
          : html`<p>
              ${
                this.#place
                  ? 'Any of them can be put on the board: staged, checked, sealed as a new generation and read back, then proven with fresh readings.'
                  : 'Link this board at the bench to put one of them on it.'
              }
            </p>`
      }
      <ol class="sets">
        ${sets.map((set) => this.#row(set))}
      </ol>
      <p role="status">${this.saved}</p>
      ${
        this.bench.elsewhere !== undefined
          ? nothing
          : html`<entering-view
              .bench=${this.bench}
              .serial=${this.serial}
              .entries=${this.entries}
              .sets=${this.#sets}
            ></entering-view>`
      }
      <dialog aria-labelledby="put-on-heading" @close=${() => (this.asked = undefined)}>
        ${
          this.asked
            ? sealingForm(
                sealingWords(this.asked.place.state.history, this.asked.chosen),
                'put-on-heading',
                this.#wish,
              )
            : nothing
        }
      </dialog>
    `;
  }

  #row(set: SetOfBoard) {
    const name = setName(set);
    const place = set.onBoard === 'in force' || set.inOtherUnits ? undefined : this.#place;
    return html`<li>
      <h3>${name}</h3>
      ${
        set.onBoard === undefined
          ? nothing
          : html`<p class="runs">
              ${shape(set.onBoard === 'in force' ? 'now' : 'ahead')}
              ${set.onBoard === 'in force' ? 'In force now' : 'On the board as the one before'}
            </p>`
      }
      <p>
        ${set.set.model === 'straight' ? 'Straight' : 'Bowed'}, CRC-32 ${set.crc}.
        ${proofsOfSetWords(set)}
        ${
          set.inOtherUnits
            ? 'It was fitted to readings in other units than a board’s counts: no board can run it.'
            : nothing
        }
      </p>
      <ul>
        ${set.events.map((event) => html`<li>${timeWords(event.time)}: ${eventWords(event)}</li>`)}
      </ul>
      <div class="offers">
        ${
          place
            ? html`<button
                type="button"
                class="main"
                aria-label="Put it on the board… ${name}"
                @click=${() => this.#ask(place, set)}
              >
                Put it on the board…
              </button>`
            : nothing
        }
        ${WAYS_OUT.map((way) => this.#takeOut(set, name, way))}
      </div>
    </li>`;
  }

  #takeOut(set: SetOfBoard, name: string, way: WayOut) {
    const label = WAY_OUT_LABELS[way];
    const save = () => {
      this.saved = saveFile(setOut(set, this.serial, way));
    };
    return html`<button type="button" aria-label="${label}: ${name}" @click=${save}>
      ${label}
    </button>`;
  }

  async #ask(place: BenchPlace, set: SetOfBoard) {
    const { dip } = this.#sets;
    this.asked = { place, serial: this.serial, chosen: asChosen(set, dip) };
    await this.updateComplete;
    if (this.dialog) askToSeal(this.dialog);
  }

  #wish = (write: boolean) => {
    const { asked } = this;
    if (!write || !asked) return;
    this.bench.pick(asked.place);
    location.hash = '#bench';
    void asked.place.putOn(asked.chosen, asked.serial);
  };
}
