import { html } from 'lit';
import { customElement, state } from 'lit/decorators.js';
import { memoryWords } from '../steps/care/care-words.ts';
import { fileName } from '../steps/file-out.ts';
import { CareView } from './care-view.ts';
import { saveFile } from './save-file.ts';

/** What is in a board's memory; fetched, saved as a file, let go. */
@customElement('care-memory')
export class CareMemory extends CareView {
  @state() private said = '';

  protected override render() {
    const { facts, lacking, held } = memoryWords(this.state);
    return html`
      ${this.facts(facts)}
      <div class="offers">
        ${this.button(lacking === 0 ? 'Ask it again' : `Fetch ${lacking} into the logbook`, () =>
          this.care.fetchMemory(),
        )}
        <button type="button" @click=${() => void this.#save()}>
          Save all readings for a survey
        </button>
      </div>
      <p class="note">
        The survey file holds every reading of this board that the logbook has, with the angles that
        the board itself worked out, its range and its temperature, as CSV. Magnetic azimuths alone
        must not be relied on where an error can hurt someone.
      </p>
      <h3>Make room on the board</h3>
      <p>
        Each reading in its memory is read once more and compared with the logbook; what the logbook
        lacks is saved. Only then is the board told to forget them, up to the last that was saved.
        They stay in the logbook.
      </p>
      <div class="offers">
        ${this.button(
          'Compare, then let the board forget them',
          () => this.care.eraseMemory(),
          'other',
          held > 0,
        )}
      </div>
      <p role="status">${this.said}</p>
    `;
  }

  async #save() {
    const { identity } = this.state.history;
    const day = new Date().toISOString().slice(0, 10);
    const csv = await this.care.surveyCsv();
    const name = fileName(['survey', identity?.serial, day], 'csv');
    this.said = saveFile({ name, content: csv, type: 'text/csv' });
  }
}
