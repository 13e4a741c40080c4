import { html, nothing } from 'lit';
import { customElement, property } from 'lit/decorators.js';
import type { OfferedKind } from '../steps/bench.ts';
import { shape } from './shapes.ts';
import { View } from './view.ts';

/** A person wants to link a board over a link of this kind. Heard in the gesture itself: the browser may want to ask. */
export class LinkEvent extends Event {
  static readonly type = 'link-board';
  constructor(
    readonly kind: OfferedKind['name'],
    /** Of a board behind one. */
    readonly address?: string,
  ) {
    super(LinkEvent.type, { bubbles: true });
  }
}

/** Every kind of link; one that cannot be had here stays in sight, with the reason and what to do. */
@customElement('link-kinds')
export class LinkKinds extends View {
  @property({ attribute: false }) kinds!: readonly OfferedKind[];
  @property({ type: Boolean }) busy = false;

  protected override render() {
    const first = this.kinds.find(({ missing }) => !missing)?.name;
    return html`<ul class="kinds">
      ${this.kinds.map(
        (kind) =>
          html`<li>
            ${kind.missing ? this.#missing(kind) : this.#offer(kind, kind.name === first)}
          </li>`,
      )}
    </ul>`;
  }

  #offer({ name, offer, words }: OfferedKind, first: boolean) {
    const button = html`<button
      type=${name === 'socket' ? 'submit' : 'button'}
      class=${first ? 'main' : 'other'}
      aria-disabled=${this.busy ? 'true' : 'false'}
      @click=${name === 'socket' ? nothing : () => this.#link(name)}
    >
      ${offer}
    </button>`;
    if (name !== 'socket')
      return html`${button}
        <p class="note">${words}</p>`;
    return html`<form class="address" @submit=${this.#submit}>
      <label class="field"
        >Address of a board
        <input
          type="text"
          name="address"
          inputmode="url"
          autocomplete="off"
          spellcheck="false"
          placeholder="ws://localhost:4180/1"
          required
        />
      </label>
      ${button}
      <p class="note">${words}</p>
    </form>`;
  }

  #missing({ name, label, missing }: OfferedKind) {
    const { happened, next } = missing!;
    return html`<details>
      <summary>${shape('watch')} <span>${label}: not here. ${happened}</span></summary>
      <ul>
        ${next.map((each) => html`<li>${each}</li>`)}
      </ul>
      <button
        type="button"
        aria-disabled=${this.busy ? 'true' : 'false'}
        @click=${() => this.#link(name)}
      >
        Try it now<span class="unseen">: ${label}</span>
      </button>
    </details>`;
  }

  #submit(event: SubmitEvent) {
    event.preventDefault();
    const form = new FormData(event.target as HTMLFormElement);
    this.#link('socket', String(form.get('address')));
  }

  #link(kind: OfferedKind['name'], address?: string) {
    if (!this.busy) this.dispatchEvent(new LinkEvent(kind, address));
  }
}
