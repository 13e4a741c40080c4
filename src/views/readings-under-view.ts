import { html, nothing } from 'lit';
import { customElement, property, state } from 'lit/decorators.js';
import {
  changeSummary,
  readingsByGeneration,
  readingsUnder,
  summaryWords,
  underCells,
  underFile,
  UNDER_HEADINGS,
  type ReadingsOfGeneration,
} from '../steps/logbook/readings-under.ts';
import {
  coefficientsOfSet,
  setName,
  setsOfBoard,
  type SetOfBoard,
  type StoredEntry,
} from '../steps/logbook/sets-of-board.ts';
import { saveFile } from './save-file.ts';
import { shape } from './shapes.ts';
import { View } from './view.ts';

/** Rows shown at most; the file has all. */
const SHOWN = 200;

/** Which readings were taken under which generation, and what they become under another set. */
@customElement('readings-under-view')
export class ReadingsUnderView extends View {
  @property() serial = '';
  @property({ attribute: false }) entries: readonly StoredEntry[] = [];
  /** Id of the set that was chosen; that in force, or the one last heard of, until a person chooses. */
  @state() private chosen: string | undefined;
  @state() private saved = '';
  #of:
    | {
        entries: readonly StoredEntry[];
        sets: readonly SetOfBoard[];
        groups: readonly ReadingsOfGeneration[];
      }
    | undefined;

  /** Worked out once for the same entries. */
  get #all() {
    if (this.#of?.entries !== this.entries) {
      const { sets } = setsOfBoard(this.entries);
      const groups = readingsByGeneration(this.entries, sets);
      this.#of = { entries: this.entries, sets, groups };
    }
    return this.#of;
  }

  protected override render() {
    const { sets, groups } = this.#all;
    const set = sets.find(({ id }) => id === this.chosen) ?? sets[0];
    if (groups.length === 0) return html`<p>No readings of this board are in the logbook yet.</p>`;
    return html`
      <ul class="findings">
        ${groups.map((group) => this.#group(group))}
      </ul>
      ${set ? this.#under(set, sets, groups) : nothing}
    `;
  }

  #group({ generation, readings, agreement, words }: ReadingsOfGeneration) {
    const standing = agreement === undefined ? 'ahead' : agreement.agrees ? 'good' : 'bad';
    return html`<li class=${standing}>
      ${shape(standing)}
      <div>
        <h3>
          ${generation === 0 ? 'With no coefficients' : `Generation ${generation}`}:
          ${readings.length === 1 ? 'one reading' : `${readings.length} readings`}
        </h3>
        <p>${words}</p>
      </div>
    </li>`;
  }

  #under(set: SetOfBoard, sets: readonly SetOfBoard[], groups: readonly ReadingsOfGeneration[]) {
    const rows = readingsUnder(
      groups.flatMap(({ readings }) => readings),
      coefficientsOfSet(set),
    );
    return html`
      <label class="field"
        >What they become under
        <select
          @change=${(event: Event) => (this.chosen = (event.target as HTMLSelectElement).value)}
        >
          ${sets.map(
            (each) =>
              html`<option value=${each.id} .selected=${each.id === set.id}>
                ${setName(each)}
              </option>`,
          )}
        </select>
      </label>
      <p>${summaryWords(changeSummary(rows))}</p>
      <div class="offers">
        <button
          type="button"
          @click=${() => {
            this.saved = saveFile(underFile(this.serial, set, rows));
          }}
        >
          Take them out as CSV
        </button>
      </div>
      <p role="status">${this.saved}</p>
      <details>
        <summary><h3>Reading by reading</h3></summary>
        ${
          rows.length > SHOWN
            ? html`<p>The first ${SHOWN} of ${rows.length}; the CSV has all.</p>`
            : nothing
        }
        <div class="scroll" tabindex="0" role="group" aria-label="Readings computed again">
          <table>
            <thead>
              <tr>
                ${UNDER_HEADINGS.map((heading) => html`<th scope="col">${heading}</th>`)}
              </tr>
            </thead>
            <tbody>
              ${rows.slice(0, SHOWN).map((row) => {
                const [id, ...cells] = underCells(row);
                return html`<tr>
                  <th scope="row">${id}</th>
                  ${cells.map((cell) => html`<td>${cell}</td>`)}
                </tr>`;
              })}
            </tbody>
          </table>
        </div>
      </details>
    `;
  }
}
