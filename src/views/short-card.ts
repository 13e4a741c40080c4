import type { PropertyValues } from 'lit';
import { state } from 'lit/decorators.js';
import { View } from './view.ts';

/** A card that is always in sight: scrolled away, it lies short at the window's lower edge. Its style: next-card.css. */
export abstract class ShortCard extends View {
  /** It lies short now. */
  @state() protected isShort = false;

  override connectedCallback(): void {
    super.connectedCallback();
    addEventListener('scroll', this.#measure, { passive: true });
    addEventListener('resize', this.#measure);
  }

  override disconnectedCallback(): void {
    super.disconnectedCallback();
    removeEventListener('scroll', this.#measure);
    removeEventListener('resize', this.#measure);
  }

  protected override updated(changes: PropertyValues): void {
    super.updated(changes);
    this.#measure();
  }

  /** Short while the card is scrolled away, or not reached yet; whoever reads its lower part still has it whole. */
  #measure = (): void => {
    const { top, bottom, height } = this.getBoundingClientRect();
    if (!this.isShort) this.style.setProperty('--whole', `${height}px`); // its place is kept while it is short
    this.isShort = (top < 0 && bottom < 0.3 * innerHeight) || top > 0.9 * innerHeight;
  };
}
