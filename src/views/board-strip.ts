import { html, nothing } from 'lit';
import { customElement, property, state } from 'lit/decorators.js';
import { glance } from '../steps/board-glance.ts';
import { emptyWords, linkWords } from '../steps/bench-words.ts';
import type { PlaceState } from '../steps/place-state.ts';
import './board-tile.ts';
import { PickEvent } from './board-tile.ts';
import { shape } from './shapes.ts';
import { View } from './view.ts';

const isEmpty = ({ link, history }: PlaceState): boolean =>
  link.state === 'none' && !history.identity;

/**
 * The boards at the bench, each with its state at a glance; one of them is at hand. A single one takes a line; several
 * stand side by side, small beside the work or large for whoever looks from the back of the room.
 */
@customElement('board-strip')
export class BoardStrip extends View {
  @property({ attribute: false }) states!: readonly PlaceState[];
  @property({ type: Number }) atHand = 0;
  @state() private isLarge = false;

  protected override render() {
    const { states } = this;
    const several = states.length > 1;
    const here = states[this.atHand]!;
    return html`<nav
      class="boards ${several ? 'several' : ''} ${several && this.isLarge ? 'wall' : ''}"
      aria-label="Boards at the bench"
    >
      ${several ? this.#tiles() : nothing}
      <div class="boards-line">
        ${
          isEmpty(here)
            ? html`<p class="link">${shape('ahead')} <strong>${emptyWords(several)}</strong></p>`
            : several
              ? nothing
              : this.#alone(here)
        }
        ${
          several
            ? html`<button
                type="button"
                class="quiet"
                aria-pressed=${this.isLarge ? 'true' : 'false'}
                @click=${() => (this.isLarge = !this.isLarge)}
              >
                Show the boards large
              </button>`
            : nothing
        }
        ${
          isEmpty(here)
            ? nothing
            : html`<button type="button" class="quiet" @click=${() => this.#pick()}>
                Link another board
              </button>`
        }
      </div>
      <p class="unseen" role="status">${this.#troubleElsewhere()}</p>
    </nav>`;
  }

  #alone({ link, history, trouble }: PlaceState) {
    const { shape: kind, words } = linkWords(link);
    const { name, serial } = history.identity ?? { name: 'A new board', serial: '' };
    return html`<p class="link">
      ${shape(trouble ? 'bad' : kind)}
      <span class="which">
        <strong>${[name, serial].filter(Boolean).join(', ')}</strong>
        <span class="state">${words}</span>
      </span>
    </p>`;
  }

  #tiles() {
    return html`<ul @pick=${() => (this.isLarge = false)}>
      ${this.states.map((each, i) =>
        isEmpty(each) && i === this.atHand
          ? nothing
          : html`<li>
              <board-tile
                .state=${each}
                .index=${i}
                ?atHand=${i === this.atHand}
                ?large=${this.isLarge}
              ></board-tile>
            </li>`,
      )}
    </ul>`;
  }

  #troubleElsewhere(): string {
    return this.states
      .filter((each, i) => i !== this.atHand && each.trouble)
      .map((each) => `${glance(each).board}: ${each.trouble!.heading}. `)
      .join('');
  }

  #pick(index?: number) {
    this.dispatchEvent(new PickEvent(index));
  }
}
