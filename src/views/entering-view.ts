import { html, nothing } from 'lit';
import { customElement, property, state } from 'lit/decorators.js';
import type { Bench } from '../steps/bench.ts';
import { messageOf } from '../steps/bench-words.ts';
import {
  cellsFrom,
  CONVENTION_LINES,
  enteredEntry,
  enteredWords,
  FORM,
  setFromFile,
  setFromForm,
  spreadNumbers,
  type EnteredSet,
  type FormCell,
  type FormFault,
  type FormPart,
} from '../steps/logbook/entering-set.ts';
import type { SetsOfBoard, StoredEntry } from '../steps/logbook/sets-of-board.ts';
import { shape } from './shapes.ts';
import { bytesOf, UNREADABLE } from '../steps/chosen-file.ts';
import { View } from './view.ts';
import { factList } from './fact-list.ts';

/** Coefficients that were made elsewhere: read or typed, looked at, and only then kept in the logbook. */
@customElement('entering-view')
export class EnteringView extends View {
  @property({ attribute: false }) bench!: Bench;
  @property() serial = '';
  @property({ attribute: false }) entries: readonly StoredEntry[] = [];
  @property({ attribute: false }) sets: SetsOfBoard = { sets: [] };
  /** What was read, before it is kept. */
  @state() private entered: EnteredSet | undefined;
  @state() private faults: readonly FormFault[] = [];
  /** What is wrong with a file, or that it could not be kept. */
  @state() private problem = '';
  @state() private said = '';

  protected override render() {
    return html`<details>
      <summary><h3>Enter coefficients made elsewhere</h3></summary>
      <p>
        They are checked and shown before anything is kept, and kept in the logbook only: no board
        changes.
      </p>
      <label class="field"
        >A coefficients file (JSON) of this program
        <input type="file" accept=".json,application/json" @change=${this.#file} />
      </label>
      <details>
        <summary><h4>Type them in</h4></summary>
        <pre class="formulas">${CONVENTION_LINES.join('\n')}</pre>
        <form novalidate @submit=${this.#submit} @paste=${this.#paste}>
          <label class="field"
            >What to call them
            <input type="text" name="name" maxlength="80" autocomplete="off" />
          </label>
          ${this.#part('scales', 'Counts that make one: acc_scale and mag_scale', ['acc_scale', 'mag_scale'])}
          ${this.#part('o', 'o, offset of the accelerometer')}
          ${this.#part('A', 'A, matrix of the accelerometer')}
          ${this.#part('q', 'q, curvature: leave it empty for a straight model')}
          ${this.#part('p', 'p, offset of the magnetometer')}
          ${this.#part('B', 'B, matrix of the magnetometer')}
          <div class="offers"><button type="submit">Check them</button></div>
        </form>
      </details>
      <div role="alert">
        ${this.problem === '' ? nothing : html`<p>${shape('bad')} ${this.problem}</p>`}
        ${
          this.faults.length === 0
            ? nothing
            : html`<p>${shape('bad')} Not yet: ${faultWords(this.faults)}</p>`
        }
      </div>
      ${this.entered ? this.#preview(this.entered) : nothing}
      <p role="status">${this.said}</p>
    </details>`;
  }

  #part(part: FormPart, legend: string, labels?: readonly string[]) {
    const whole = this.faults.find(({ at }) => at === part);
    return html`<fieldset>
      <legend>${legend}</legend>
      <div class="cells">
        ${FORM[part].map((cell, i) => {
          const fault = this.faults.find(({ at }) => at === cell);
          return html`<input
            type="text"
            inputmode="text"
            name=${cell}
            autocomplete="off"
            spellcheck="false"
            aria-label=${labels?.[i] ?? cellWords(cell)}
            aria-invalid=${(fault ?? whole) ? 'true' : 'false'}
          />`;
        })}
      </div>
    </fieldset>`;
  }

  #preview(entered: EnteredSet) {
    const { findings, against } = enteredWords(entered, this.sets, this.entries);
    return html`<section>
      <h4>What they say: “${entered.name}”</h4>
      <ul class="findings">
        ${findings.map(
          ({ name, figure, words, standing }) =>
            html`<li class=${standing}>
              ${shape(standing)}
              <div>
                <h5>${name}</h5>
                <p class="figure">${figure}</p>
                <p>${words}</p>
              </div>
            </li>`,
        )}
      </ul>
      ${
        against
          ? html`<p>${against.lead}</p>
              ${factList(against.rows)}`
          : nothing
      }
      <div class="offers">
        <button type="button" class="main" @click=${() => this.#keep(entered)}>
          Keep them in the logbook
        </button>
        <button type="button" @click=${this.#drop}>Do not keep them</button>
      </div>
    </section>`;
  }

  async #file(event: Event) {
    const input = event.target as HTMLInputElement;
    const file = input.files?.[0];
    if (!file) return;
    input.value = ''; // so that the same file can be chosen again once it is mended
    this.#clear();
    const bytes = await bytesOf(file);
    const read = bytes
      ? setFromFile(bytes, file.name)
      : ({ ok: false, message: UNREADABLE } as const);
    if (read.ok) this.entered = read.entered;
    else this.problem = read.message;
  }

  #submit(event: SubmitEvent) {
    event.preventDefault();
    const form = new FormData(event.target as HTMLFormElement);
    const texts = Object.fromEntries([...form].map(([name, text]) => [name, String(text)]));
    this.#clear();
    const read = setFromForm(texts, texts.name ?? '');
    if (read.ok) this.entered = read.entered;
    else this.faults = read.faults;
  }

  /** A whole row or matrix pasted into one cell goes into the cells that follow. */
  #paste(event: ClipboardEvent) {
    const input = event.target as HTMLInputElement;
    const numbers = spreadNumbers(event.clipboardData?.getData('text/plain') ?? '');
    if (numbers.length === 0 || input.name === 'name') return;
    event.preventDefault();
    const cells = cellsFrom(input.name as FormCell);
    if (numbers.length > cells.length) {
      this.problem = `${numbers.length} numbers were pasted where ${cells.length} have their place: nothing was filled in. Are there decimal commas among them?`;
      return;
    }
    this.problem = '';
    numbers.forEach((number, i) => {
      const cell = input.form!.elements.namedItem(cells[i]!) as HTMLInputElement;
      cell.value = number;
    });
  }

  async #keep(entered: EnteredSet) {
    const stamp = { board: this.serial, time: this.bench.logbook.now().toISOString() };
    try {
      await this.bench.record(this.serial, enteredEntry(entered, stamp));
      this.#clear();
      this.said = `Kept in the logbook, as “${entered.name}”. It is in the list above.`;
    } catch (error) {
      this.problem = `They were not kept. ${messageOf(error)}`;
    }
  }

  #drop = () => {
    this.#clear();
    this.said = 'Not kept.';
  };

  #clear() {
    this.entered = undefined;
    this.faults = [];
    this.problem = '';
    this.said = '';
  }
}

const cellWords = (cell: FormCell): string =>
  cell.length === 3
    ? `${cell[0]!} row ${cell[1]!} column ${cell[2]!}`
    : `${cell[0]!} ${'xyz'[Number(cell[1]) - 1]!}`;

const LABELS: Partial<Record<FormCell | FormPart, string>> = {
  accScale: 'acc_scale',
  magScale: 'mag_scale',
};

const faultWords = (faults: readonly FormFault[]): string =>
  faults.map(({ at, message }) => `${LABELS[at] ?? at}: ${message}`).join(' ');
