import { html, nothing } from 'lit';
import { customElement, property, state } from 'lit/decorators.js';
import type { BoardInShort, LogbookState } from '../steps/logbook/logbook-desk.ts';
import { timeWords } from '../steps/sealing-words.ts';
import { boardAddress } from './page-part.ts';
import { View } from './view.ts';

/** Every board of the logbook in a line, to be searched by name or serial number. */
@customElement('logbook-boards')
export class LogbookBoards extends View {
  @property({ attribute: false }) state!: LogbookState;
  @state() private sought = '';

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
    const found = boards.filter(({ serial, name = '' }) =>
      `${name} ${serial}`.toLocaleLowerCase().includes(wanted),
    );
    return html`
      ${
        boards.length > 1
          ? html`<label class="field seek">
              Find a board by name or serial number
              <input
                type="text"
                .value=${this.sought}
                @input=${(event: InputEvent) => {
                  this.sought = (event.target as HTMLInputElement).value;
                }}
              />
            </label>`
          : nothing
      }
      <p class="note" role="status">
        ${found.length === boards.length ? `${boards.length} ${boards.length === 1 ? 'board' : 'boards'}` : `${found.length} of ${boards.length} boards`}
      </p>
      <ul class="board-list">
        ${found.map(
          (board) =>
            html`<li class="sheet">
              <a href=${boardAddress(board.serial)}
                >${board.name ? `${board.name}, ${board.serial}` : board.serial}</a
              >
              <span class="note">
                ${board.sealed ? `generation ${board.sealed.generation} since ${timeWords(board.sealed.time)}` : 'never sealed here'}
              </span>
            </li>`,
        )}
      </ul>
    `;
  }
}
