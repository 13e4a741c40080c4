import { html, nothing } from 'lit';
import { customElement, property } from 'lit/decorators.js';
import type { OfferedKind } from '../steps/bench.ts';
import { workWords } from '../steps/bench-words.ts';
import type { PlaceState, Trouble, Work } from '../steps/place-state.ts';
import { nextStep, type Intention, type Offer } from '../steps/next-step.ts';
import './link-kinds.ts';
import { offerButton } from './offer-button.ts';
import { shape } from './shapes.ts';
import { ShortCard } from './short-card.ts';

/** A person asked for something. */
export class IntentionEvent extends Event {
  static readonly type = 'intention';
  constructor(readonly intention: Intention) {
    super(IntentionEvent.type, { bubbles: true });
  }
}

/**
 * The one thing to do next, always in sight; beneath it what is being done, what was said, what went wrong, the help and
 * the ways out. Where it stands above the sheets and is scrolled away, it lies short at the window's lower edge.
 */
@customElement('next-card')
export class NextCard extends ShortCard {
  @property({ attribute: false }) state!: PlaceState;
  @property({ attribute: false }) kinds!: readonly OfferedKind[];

  protected override render() {
    const { work, trouble, said, link, history } = this.state;
    const empty = link.state === 'none' && !history.identity;
    const { heading, words, help, main, others, waysOut } = nextStep(this.state);
    const notes = [...(main ? [main] : []), ...others].flatMap(({ note }) => note ?? []);
    const standing = `${work ? 'busy' : ''} ${empty ? 'choosing' : ''} ${this.isShort ? 'short' : ''}`;
    return html`
      <section class="next ${standing}" id="next" aria-labelledby="next-heading" tabindex="-1">
        <p class="eyebrow">${work ? 'Under way' : 'Next'}</p>
        <h2 id="next-heading">${heading}</h2>
        <p class="words">${words}</p>
        ${trouble ? this.#trouble(trouble) : nothing}
        ${
          empty
            ? html`<link-kinds .kinds=${this.kinds} .busy=${work !== undefined}></link-kinds>`
            : html`<div class="offers">
                ${main ? this.#offer(main, 'main') : nothing}
                ${others.map((offer) => this.#offer(offer, 'other'))}
              </div>`
        }
        ${empty ? nothing : notes.map((note) => html`<p class="note">${note}</p>`)}
        ${work ? this.#work(work) : nothing}
        <p class="said" role="status">${said}</p>
        <step-help .topic=${help}></step-help>
        ${
          waysOut.length === 0
            ? nothing
            : html`<div class="ways-out" role="group" aria-label="Ways out">
                ${waysOut.map((offer) => this.#offer(offer, 'quiet'))}
              </div>`
        }
      </section>
    `;
  }

  #offer(offer: Offer, kind: 'main' | 'other' | 'quiet') {
    return offerButton(offer, kind, this.state.work !== undefined, (does) => this.#send(does));
  }

  #work(work: Work) {
    const { done, of, stoppable, insist } = work;
    return html`<div class="work">
      <label>
        <span>${workWords(work)}</span>
        ${
          of === undefined
            ? html`<progress></progress>`
            : html`<progress max=${of} value=${done ?? 0}></progress>`
        }
      </label>
      ${
        insist === undefined
          ? nothing
          : html`<button type="button" @click=${() => this.#send('insist')}>${insist}</button>`
      }
      ${
        stoppable
          ? html`<button type="button" @click=${() => this.#send('stop')}>Stop</button>`
          : nothing
      }
    </div>`;
  }

  #trouble({ heading, message, next = [] }: Trouble) {
    return html`<div class="trouble" role="alert">
      ${shape('bad')}
      <div>
        <h3>${heading}</h3>
        <p>${message}</p>
        ${
          next.length === 0
            ? nothing
            : html`<ul>
                ${next.map((each) => html`<li>${each}</li>`)}
              </ul>`
        }
        ${
          this.state.link.state === 'linked'
            ? html`<button type="button" @click=${() => this.#ask('link')}>Link again</button>`
            : nothing
        }
      </div>
    </div>`;
  }

  #ask(intention: Intention) {
    if (!this.state.work) this.#send(intention);
  }

  #send(intention: Intention) {
    this.dispatchEvent(new IntentionEvent(intention));
  }
}
