import { html, nothing, svg } from 'lit';
import { customElement, property } from 'lit/decorators.js';
import { glance, shortWords, type Glance } from '../steps/board-glance.ts';
import type { Intention } from '../steps/next-step.ts';
import type { PlaceState } from '../steps/place-state.ts';
import { offerButton } from './offer-button.ts';
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

/** A person asked for something at a place that need not be at hand. */
export class AskThereEvent extends Event {
  static readonly type = 'ask-there';
  constructor(
    readonly index: number,
    readonly intention: Intention,
  ) {
    super(AskThereEvent.type, { bubbles: true });
  }
}

/** One of several boards at a glance. It is drawn anew only when its own state changes. */
@customElement('board-tile')
export class BoardTile extends View {
  @property({ attribute: false }) state!: PlaceState;
  /** Of the place among all. */
  @property({ attribute: false }) index!: number;
  @property({ type: Boolean }) atHand = false;
  @property({ type: Boolean }) large = false;

  protected override render() {
    const seen = glance(this.state);
    return this.large ? this.#large(seen) : this.#small(seen);
  }

  #small(seen: Glance) {
    const { name, serial, progress } = seen;
    return html`<button
      type="button"
      class="board"
      aria-current=${this.atHand ? 'true' : 'false'}
      @click=${this.#pick}
    >
      ${shape(seen.shape)}
      <span class="which">
        <strong>${name} <span class="serial">${serial}</span></strong>
        <span class="state">${shortWords(seen)}</span>
        ${progress ? bar(progress) : nothing}
      </span>
    </button>`;
  }

  #large(seen: Glance) {
    const { board, name, serial, link, place, progress, work, next, trouble, result, offer } = seen;
    return html`<article class="board-card ${this.atHand ? 'at-hand' : ''}" aria-label=${board}>
      <h2>
        ${shape(seen.shape)} <span>${name} <span class="serial">${serial}</span></span>
      </h2>
      ${trouble ? html`<p class="wrong">${shape('bad')} <strong>${trouble}</strong></p>` : nothing}
      <p class="where">
        <strong>${place}</strong>${progress ? html`, ${progress.words}` : nothing}
        ${progress ? bar(progress) : nothing}
      </p>
      <p>${work ?? (place === 'Done' ? next : html`Next: ${next}`)}</p>
      ${result ? html`<p>${shape(result.shape)} ${result.words}</p>` : nothing}
      <p class="note">${link}</p>
      <div class="offers">
        ${offer ? offerButton(offer, 'other', false, this.#ask) : nothing}
        ${
          this.state.work?.stoppable
            ? html`<button type="button" @click=${() => this.#ask('stop')}>Stop</button>`
            : nothing
        }
        <button type="button" aria-current=${this.atHand ? 'true' : 'false'} @click=${this.#pick}>
          ${this.atHand ? 'Go on with it' : 'Bring to hand'}<span class="unseen">: ${board}</span>
        </button>
      </div>
    </article>`;
  }

  #ask = (intention: Intention) => {
    this.dispatchEvent(new AskThereEvent(this.index, intention));
  };

  #pick = () => {
    this.dispatchEvent(new PickEvent(this.index));
  };
}

/** How far it is, drawn; the words beside it say it. */
const bar = ({ done, of }: { done: number; of: number }) =>
  html`<svg class="bar" viewBox="0 0 100 6" preserveAspectRatio="none" aria-hidden="true">
    ${svg`<rect class="ground" width="100" height="6" /><rect class="filled" width=${(100 * done) / of} height="6" />`}
  </svg>`;
