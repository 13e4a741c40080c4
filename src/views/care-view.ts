import { html } from 'lit';
import { property } from 'lit/decorators.js';
import type { BoardCare } from '../steps/care/board-care.ts';
import type { PlaceState } from '../steps/place-state.ts';
import type { Fact } from '../steps/board-words.ts';
import { View } from './view.ts';
import { factList } from './fact-list.ts';

/** What the sheets for the care of a board share. */
export abstract class CareView extends View {
  @property({ attribute: false }) care!: BoardCare;
  @property({ attribute: false }) state!: PlaceState;

  /** Whether the board can be asked for anything now. */
  protected get able(): boolean {
    return this.state.link.state === 'linked' && this.state.work === undefined;
  }

  /** A button that does nothing while the board cannot be asked, but keeps the focus. */
  protected button(
    label: unknown,
    does: () => unknown,
    kind: 'main' | 'other' = 'other',
    able = true,
  ) {
    const isAble = able && this.able;
    return html`<button
      type="button"
      class=${kind}
      aria-disabled=${isAble ? 'false' : 'true'}
      @click=${() => {
        if (isAble) does();
      }}
    >
      ${label}
    </button>`;
  }

  protected facts(facts: readonly Fact[]) {
    return factList(facts);
  }
}
