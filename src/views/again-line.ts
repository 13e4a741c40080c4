import { html, nothing } from 'lit';
import { customElement, property } from 'lit/decorators.js';
import type { LogbookDesk } from '../steps/logbook/logbook-desk.ts';
import { againLine, againStanding } from '../steps/logbook/when-again.ts';
import { boardAddress } from './page-part.ts';
import { shape } from './shapes.ts';
import { View } from './view.ts';

/** Of the board at the bench, in one line: when it is to be calibrated again; and the way to its page of the logbook. */
@customElement('again-line')
export class AgainLine extends View {
  @property({ attribute: false }) desk!: LogbookDesk;
  @property() serial!: string;

  protected override follows() {
    return [this.desk];
  }

  override connectedCallback(): void {
    super.connectedCallback();
    this.desk.wrote(); // what was written before anyone looked
  }

  protected override render() {
    const board = this.desk.lineOf(this.serial);
    if (!board) return nothing;
    const again = this.desk.again(board);
    return html`<p class="again-line">
      ${shape(againStanding(again))}
      <span>
        ${againLine(again)}.
        <a href=${boardAddress(this.serial)}>Its page in the logbook</a>
      </span>
    </p>`;
  }
}
