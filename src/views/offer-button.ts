import { html } from 'lit';
import type { Offer } from '../steps/next-step.ts';

/** A button for an offer. While `busy` it does nothing, but is not disabled: that would lose the focus. */
export const offerButton = (
  { label, does }: Offer,
  kind: 'main' | 'other' | 'quiet',
  busy: boolean,
  ask: (does: Offer['does']) => void,
) =>
  html`<button
    type="button"
    class=${kind}
    aria-disabled=${busy ? 'true' : 'false'}
    @click=${() => {
      if (!busy) ask(does);
    }}
  >
    ${label}
  </button>`;
