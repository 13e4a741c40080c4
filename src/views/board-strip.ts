import { html, nothing } from 'lit';
import { customElement, property } from 'lit/decorators.js';
import { emptyWords, placeWords } from '../steps/bench-words.ts';
import type { PlaceState } from '../steps/place-state.ts';
import { shape } from './shapes.ts';
import { View } from './view.ts';

/** A person wants another place at hand. */
export class PickEvent extends Event {
  static readonly type = 'pick';
  /** @param index of the place among all; absent for an empty one */
  constructor(readonly index?: number) {
    super(PickEvent.type, { bubbles: true });
  }
}

/** The boards at the bench, each with its state by shape and words; one of them is at hand. */
@customElement('board-strip')
export class BoardStrip extends View {
  @property({ attribute: false }) states!: readonly PlaceState[];
  @property({ type: Number }) atHand = 0;

  protected override render() {
    const isEmpty = ({ link, history }: PlaceState) => link.state === 'none' && !history.identity;
    const inTrouble = this.states.filter((state, i) => i !== this.atHand && state.trouble);
    return html`<nav class="boards" aria-label="Boards at the bench">
      <ul>
        ${this.states.map((state, i) =>
          isEmpty(state) && i === this.atHand ? nothing : html`<li>${this.#board(state, i)}</li>`,
        )}
      </ul>
      ${
        isEmpty(this.states[this.atHand]!)
          ? html`<p class="link">
              ${shape('ahead')} <strong>${emptyWords(this.states.length > 1)}</strong>
            </p>`
          : html`<button type="button" class="other" @click=${() => this.#pick()}>
              Link another board
            </button>`
      }
      <p class="unseen" role="status">
        ${inTrouble.map((state) => {
          const { board, words } = placeWords(state);
          return html`${board}: ${words}. `;
        })}
      </p>
    </nav>`;
  }

  #board(state: PlaceState, i: number) {
    const { shape: kind, board, words } = placeWords(state);
    return html`<button
      type="button"
      class="board"
      aria-current=${i === this.atHand ? 'true' : 'false'}
      @click=${() => this.#pick(i)}
    >
      ${shape(kind)}
      <span class="which"><strong>${board}</strong> <span class="state">${words}</span></span>
    </button>`;
  }

  #pick(index?: number) {
    this.dispatchEvent(new PickEvent(index));
  }
}
