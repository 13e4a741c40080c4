import { html, nothing } from 'lit';
import { customElement, property } from 'lit/decorators.js';
import type { BoardCare } from '../steps/care/board-care.ts';
import { settingLines } from '../steps/care/care-words.ts';
import type { PlaceState } from '../steps/place-state.ts';
import './care-firmware.ts';
import './care-memory.ts';
import './care-name.ts';
import './care-settings.ts';
import { View } from './view.ts';

/** The sheets for the care of a board: those that it has something for. */
@customElement('care-sheets')
export class CareSheets extends View {
  @property({ attribute: false }) care!: BoardCare;
  @property({ attribute: false }) state!: PlaceState;

  protected override render() {
    const { care, state } = this;
    const { identity } = state.history;
    if (!identity) return nothing;
    const takesImages = identity.capabilities.includes('image');
    return html`
      ${sheet(
        'What is in its memory',
        html`<care-memory .care=${care} .state=${state}></care-memory>`,
      )}
      ${
        settingLines(state).length > 0
          ? sheet(
              'Its settings',
              html`<care-settings .care=${care} .state=${state}></care-settings>`,
            )
          : nothing
      }
      ${sheet(
        'Its name, clock and light',
        html`<care-name .care=${care} .state=${state}></care-name>`,
      )}
      ${
        takesImages
          ? sheet(
              'Its firmware',
              html`<care-firmware .care=${care} .state=${state}></care-firmware>`,
            )
          : nothing
      }
    `;
  }
}

const sheet = (title: string, content: unknown) =>
  html`<details class="sheet">
    <summary><h2>${title}</h2></summary>
    ${content}
  </details>`;
