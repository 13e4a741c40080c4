import { html, nothing } from 'lit';
import { customElement, property, state } from 'lit/decorators.js';
import { boardLine } from '../steps/logbook/board-facts.ts';
import type { BoardInShort, LogbookDesk, LogbookState } from '../steps/logbook/logbook-desk.ts';
import { againLine, againStanding } from '../steps/logbook/when-again.ts';
import { boardAddress } from './page-part.ts';
import { shape } from './shapes.ts';
import { View } from './view.ts';

/** Every board of the logbook in a line, to be searched by name or serial number. */
@customElement('logbook-boards')
export class LogbookBoards extends View {
  @property({ attribute: false }) desk!: LogbookDesk;
  @property({ attribute: false }) state!: LogbookState;
  @state() private sought = '';
  /** Only boards that are to be calibrated again are shown. */
  @state() private onlyDue = false;

  protected override render() {
    const { boards } = this.state;
    return html`
      <h2 id="logbook-heading" tabindex="-1">Logbook</h2>
      ${
        boards === undefined
          ? html`<p>Reading the logbook…</p>`
          : boards.length === 0
            ? html`<p>Nothing is in it yet. It begins when a board is linked at the bench.</p>`
            : this.#list(boards)
      }
    `;
  }

  #list(boards: readonly BoardInShort[]) {
    const wanted = this.sought.trim().toLocaleLowerCase();
    const found = boards.filter(
      (board) =>
        `${board.name ?? ''} ${board.serial}`.toLocaleLowerCase().includes(wanted) &&
        (!this.onlyDue || this.desk.again(board).verdict === 'now'),
    );
    const count = boards.length === 1 ? 'One board' : `${boards.length} boards`;
    return html`
      ${
        boards.length > 1
          ? html`<div class="seek">
              <label class="field">
                Find a board by name or serial number
                <input
                  type="text"
                  autocomplete="off"
                  .value=${this.sought}
                  @input=${(event: InputEvent) => {
                    this.sought = (event.target as HTMLInputElement).value;
                  }}
                />
              </label>
              <label class="choice">
                <input
                  type="checkbox"
                  .checked=${this.onlyDue}
                  @change=${(event: Event) => {
                    this.onlyDue = (event.target as HTMLInputElement).checked;
                  }}
                />
                Only those to calibrate again
              </label>
            </div>`
          : nothing
      }
      <p class="note" role="status">
        ${found.length === boards.length ? count : `${found.length} of ${boards.length} boards`}
      </p>
      <ul class="board-list">
        ${found.map((board) => this.#board(board))}
      </ul>
    `;
  }

  #board(board: BoardInShort) {
    const { serial, name } = board;
    const again = this.desk.again(board);
    return html`<li class="sheet">
      <a href=${boardAddress(serial)}>${name ? `${name}, ${serial}` : serial}</a>
      <p class="due">${shape(againStanding(again))} <span>${againLine(again)}</span></p>
      <p class="note">${boardLine(board)}</p>
    </li>`;
  }
}
