import { LitElement, type PropertyValues } from 'lit';

/** State that says when it changes. */
export interface Followed {
  subscribe(listener: () => void): () => void;
}

/**
 * What every view is: it shows what it is given and passes intentions on. Views render into the page itself, not into
 * shadow trees: one style sheet, and labels that may name elements of other views.
 */
export abstract class View extends LitElement {
  #hadFocus = false;
  #unfollow: readonly (() => void)[] = [];

  /** What it shows beside its properties: with every change of any of these it is drawn again. */
  protected follows(): readonly Followed[] {
    return [];
  }

  override connectedCallback(): void {
    super.connectedCallback();
    if (this.hasUpdated) this.#follow();
  }

  override disconnectedCallback(): void {
    super.disconnectedCallback();
    for (const unfollow of this.#unfollow) unfollow();
  }

  protected override createRenderRoot(): HTMLElement {
    return this;
  }

  protected override willUpdate(changes: PropertyValues): void {
    super.willUpdate(changes);
    // an element that was in the page before its view was loaded has its properties only now
    if (!this.hasUpdated && this.isConnected) this.#follow();
    this.#hadFocus = this.contains(document.activeElement);
  }

  #follow(): void {
    this.#unfollow = this.follows().map((each) => each.subscribe(() => this.requestUpdate()));
  }

  /** What had the focus may be gone, as a button that did its work: then what is next has it, and not the page's top. */
  protected override updated(changes: PropertyValues): void {
    super.updated(changes);
    if (this.#hadFocus && document.activeElement === document.body) {
      document.querySelector<HTMLElement>('#next')?.focus({ preventScroll: true });
    }
  }
}
