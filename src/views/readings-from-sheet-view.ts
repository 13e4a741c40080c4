import { html, nothing, type PropertyValues } from 'lit';
import { customElement, property, state } from 'lit/decorators.js';
import type { Bench } from '../steps/bench.ts';
import type { LogbookState } from '../steps/logbook/logbook-desk.ts';
import {
  declaredMounting,
  problemWords,
  proposed,
  quantityOf,
  readingsFrom,
  ROLES,
  SEPARATOR_WORDS,
  type Doubt,
  type Role,
  type SheetChoices,
  type SheetReading,
} from '../steps/logbook/readings-from-sheet.ts';
import {
  SEPARATORS,
  splitSheet,
  type DecimalSign,
  type Separator,
  type SheetProblem,
  type SheetTable,
} from '../steps/logbook/sheet-table.ts';
import { MOUNTINGS } from '../steps/place-state.ts';
import { UNITS, type Quantity } from '../steps/logbook/sheet-units.ts';
import { boardAddress } from './page-part.ts';
import { shape } from './shapes.ts';
import { bytesOf, UNREADABLE } from '../steps/chosen-file.ts';
import { expectedField } from '../steps/site/expected-field.ts';
import { dipWords } from '../steps/site/site-words.ts';
import { View } from './view.ts';

/** What a role is called on screen. */
const ROLE_WORDS: Readonly<Record<Role, string>> = {
  ignored: 'left out',
  id: 'name of the reading',
  sighting: 'sighting',
  ax: 'accelerometer x',
  ay: 'accelerometer y',
  az: 'accelerometer z',
  mx: 'magnetometer x',
  my: 'magnetometer y',
  mz: 'magnetometer z',
  temperature: 'temperature',
  azimuth: 'aim: azimuth',
  inclination: 'aim: inclination',
  roll: 'aim: roll',
};

const QUANTITY_WORDS: Readonly<Record<Quantity, string>> = {
  acc: 'Accelerometer is in',
  mag: 'Magnetometer is in',
  angle: 'Angles are in',
  temperature: 'Temperatures are in',
};

const UNIT_WORDS: Readonly<Record<string, string>> = {
  counts: 'raw counts',
  g: 'g (standard gravity)',
  mg: 'mg (thousandths of g)',
  mG: 'mG (milligauss)',
  gon: 'gon (400 to the turn)',
  mil: 'mil (6400 to the turn)',
};

/** How many rows the preview shows. */
const PREVIEW = 5;
const LARGEST_FILE = 4_000_000;

/** Readings typed, pasted or brought in from a sheet: how they are to be read is asked, and what is wrong is named. */
@customElement('readings-from-sheet-view')
export class ReadingsFromSheetView extends View {
  @property({ attribute: false }) bench!: Bench;
  /** The board whose page it stands on, and its entries; absent where the board is asked for. */
  @property({ attribute: false }) opened: LogbookState['opened'];
  @state() private text = '';
  @state() private file: string | undefined;
  @state() private table: SheetTable | SheetProblem | undefined;
  @state() private choices: SheetChoices | undefined;
  @state() private serial = '';
  @state() private boardName = '';
  @state() private said = '';
  #outcome: SheetReading | undefined;

  protected override follows() {
    return [this.bench.site];
  }

  override connectedCallback(): void {
    super.connectedCallback();
    // where it cannot be read nothing is offered; the sheet of the site says why
    this.bench.site.read().catch((error: unknown) => console.warn('The site was not read:', error));
  }

  protected override willUpdate(changes: PropertyValues): void {
    super.willUpdate(changes);
    const { table, choices } = this;
    if (!changes.has('table') && !changes.has('choices')) return;
    this.#outcome = table && choices && 'rows' in table ? readingsFrom(table, choices) : undefined;
  }

  protected override render() {
    const { table, choices, file } = this;
    return html`<details class="sheet from-sheet">
      <summary><h2>Readings from a sheet</h2></summary>
      <p>
        Readings that were taken elsewhere: type them, paste them from a spreadsheet, or bring in a
        file of them (CSV). Each line is one reading: three numbers of the accelerometer, three of
        the magnetometer, and, where they are known, its sighting, aim and temperature.
      </p>
      <label class="field"
        >Readings, a line for each
        <textarea
          rows="8"
          spellcheck="false"
          autocomplete="off"
          wrap="off"
          .value=${this.text}
          @input=${(event: Event) => this.#take((event.target as HTMLTextAreaElement).value)}
        ></textarea>
      </label>
      <label class="field"
        >Or bring in a file
        <input type="file" accept=".csv,.tsv,.txt,text/*" @change=${this.#bringIn} />
      </label>
      ${file === undefined ? nothing : html`<p class="note">From the file ${file}.</p>`}
      ${
        table === undefined || choices === undefined
          ? this.#problems(table && 'message' in table ? [table] : [])
          : 'rows' in table
            ? this.#asked(table, choices)
            : this.#problems([table])
      }
      <p role="status">${this.said}</p>
    </details>`;
  }

  #asked(table: SheetTable, choices: SheetChoices) {
    const outcome = this.#outcome;
    const ready = outcome?.ok === true;
    return html`
      <fieldset>
        <legend>How it is written</legend>
        <div class="fields">
          ${this.#select(
            'Cells are separated by',
            SEPARATORS.map((each) => [each, SEPARATOR_WORDS[each]]),
            table.separator,
            (value) => this.#split({ separator: value as Separator }),
          )}
          ${this.#select(
            'Decimals are marked by',
            [
              ['point', 'a point: 0.5'],
              ['comma', 'a comma: 0,5'],
            ],
            table.decimal,
            (value) =>
              this.#split({ separator: table.separator, decimal: value as DecimalSign }, choices),
          )}
        </div>
      </fieldset>
      ${this.#preview(table, choices)}
      <fieldset>
        <legend>Units, and what angles count from</legend>
        <div class="fields">${this.#units(choices)} ${this.#angles(choices)}</div>
      </fieldset>
      ${this.#scales(choices)} ${this.#mounting(choices)} ${this.#boardFields()}
      ${outcome && !outcome.ok ? this.#problems(outcome.problems) : nothing}
      ${outcome && !outcome.ok ? this.#doubts(outcome.doubts, choices) : nothing}
      <div class="offers">
        <button
          type="button"
          class="main"
          aria-disabled=${ready && this.#board() !== '' ? 'false' : 'true'}
          @click=${this.#keep}
        >
          Keep these readings
        </button>
      </div>
      <p class="note">
        ${
          ready
            ? `${outcome.read.readings.length === 1 ? 'One reading goes' : `${outcome.read.readings.length} readings go`} into the logbook as a calibration of ${this.#board() || 'the board that is still to be named'}, marked as entered by hand, with the text as it stands above.`
            : 'Nothing is kept until all is settled.'
        }
      </p>
    `;
  }

  #preview({ rows, header, width }: SheetTable, { roles }: SheetChoices) {
    return html`<div
      class="scroll"
      tabindex="0"
      role="region"
      aria-label="What each column is, and the first rows"
    >
      <table class="columns">
        <thead>
          <tr>
            <td></td>
            ${Array.from(
              { length: width },
              (_, i) =>
                html`<th scope="col">
                  <label class="field"
                    >Column ${i + 1}${header?.cells[i] ? `, “${header.cells[i]}”` : ''}
                    <select
                      @change=${(event: Event) =>
                        this.#role(i, (event.target as HTMLSelectElement).value as Role)}
                    >
                      ${ROLES.map(
                        (role) =>
                          html`<option value=${role} .selected=${role === roles[i]}>
                            ${ROLE_WORDS[role]}
                          </option>`,
                      )}
                    </select>
                  </label>
                </th>`,
            )}
          </tr>
        </thead>
        <tbody>
          ${rows.slice(0, PREVIEW).map(
            ({ line, cells }) =>
              html`<tr>
                <th scope="row">line ${line}</th>
                ${Array.from({ length: width }, (_, i) => html`<td>${cells[i] ?? ''}</td>`)}
              </tr>`,
          )}
        </tbody>
      </table>
      ${
        rows.length > PREVIEW
          ? html`<p class="note">and ${rows.length - PREVIEW} lines more</p>`
          : nothing
      }
    </div>`;
  }

  #units({ roles, units }: SheetChoices) {
    const wanted = (['acc', 'mag', 'angle', 'temperature'] as const).filter((quantity) =>
      roles.some((role) => quantityOf(role) === quantity),
    );
    return wanted.map((quantity) =>
      this.#select(
        QUANTITY_WORDS[quantity],
        (UNITS[quantity] as readonly string[]).map((unit) => [unit, UNIT_WORDS[unit] ?? unit]),
        units[quantity],
        (value) => this.#choose({ units: { ...units, [quantity]: value } }),
      ),
    );
  }

  #angles({ roles, azimuths, dipSign }: SheetChoices) {
    return html`
      ${
        roles.includes('azimuth')
          ? this.#select(
              'Azimuths count from',
              [
                ['absolute', 'magnetic north'],
                ['relative', 'each other only'],
              ],
              azimuths,
              (value) => this.#choose({ azimuths: value as 'absolute' | 'relative' }),
            )
          : nothing
      }
      ${this.#select(
        'The field dips',
        [
          ['0', 'not known'],
          ['1', 'down (most of the northern half of the world)'],
          ['-1', 'up (most of the southern half)'],
        ],
        String(dipSign ?? 0),
        (value) => {
          const { dipSign: _, ...others } = this.choices!;
          this.choices = value === '0' ? others : { ...others, dipSign: value === '1' ? 1 : -1 };
        },
      )}
      ${dipSign === undefined ? this.#dipThere() : nothing}
    `;
  }

  /** What the model says of the dip where the bench stands. */
  #dipThere() {
    const { site, logbook } = this.bench;
    const words = dipWords(expectedField(site.kept, logbook.now()));
    return words === undefined ? nothing : html`<p class="note">${words}</p>`;
  }

  #scales({ units, scales }: SheetChoices) {
    const raw = (['acc', 'mag'] as const).filter((chip) => units[chip] === 'counts');
    if (raw.length === 0) return nothing;
    const words = { acc: 'Counts in about 1 g', mag: 'Counts in about the length of the field' };
    return html`<fieldset>
      <legend>Scale of the counts</legend>
      <p class="note">
        What the board divides its counts by. Where nobody knows it, leave both empty: it is taken
        from the readings, and the fit says so.
      </p>
      <div class="fields">
        ${raw.map(
          (chip) =>
            html`<label class="field"
              >${words[chip]}
              <input
                type="number"
                min="0"
                step="any"
                .value=${String(scales[chip] ?? '')}
                @change=${(event: Event) => {
                  const { value } = event.target as HTMLInputElement;
                  const { [chip]: _, ...others } = scales;
                  this.#choose({
                    scales: value === '' ? others : { ...others, [chip]: Number(value) },
                  });
                }}
              />
            </label>`,
        )}
      </div>
    </fieldset>`;
  }

  #mounting({ mounting, roles }: SheetChoices) {
    const options: [string, string][] = [
      ['', 'not known'],
      ...MOUNTINGS.map((each): [string, string] => [each, each]),
    ];
    const pick = (chip: 'acc' | 'mag') => (value: string) => {
      const { mounting: _, ...others } = this.choices!;
      const other = chip === 'acc' ? 'mag' : 'acc';
      this.choices =
        value === ''
          ? others
          : {
              ...others,
              mounting: {
                acc: value,
                mag: value,
                ...(mounting && { [other]: mounting[other] }),
                [chip]: value,
              },
            };
    };
    return html`<fieldset>
      <legend>How the chips sit</legend>
      <p class="note">
        Which chip axis lies along the body’s x (along the sight), y (to the right) and z (down):
        plus where its counts grow as that body axis turns down (accelerometer) or along the field
        (magnetometer).
        ${
          roles.includes('roll')
            ? 'With the aims of a plan it may stay unknown.'
            : 'Without the aims of a plan a fit needs it.'
        }
      </p>
      <div class="fields">
        ${this.#select('Accelerometer', options, mounting?.acc ?? '', pick('acc'))}
        ${this.#select('Magnetometer', options, mounting?.mag ?? '', pick('mag'))}
      </div>
    </fieldset>`;
  }

  #boardFields() {
    if (this.opened) return nothing;
    const known = this.bench.logbook.state.boards ?? [];
    return html`<fieldset>
      <legend>Of which board</legend>
      <div class="fields">
        <label class="field"
          >Serial number
          <input
            type="text"
            maxlength="64"
            autocomplete="off"
            list="known-boards"
            .value=${this.serial}
            @input=${(event: Event) => {
              this.serial = (event.target as HTMLInputElement).value;
            }}
          />
          <datalist id="known-boards">
            ${known.map(({ serial, name }) => html`<option value=${serial}>${name ?? ''}</option>`)}
          </datalist>
        </label>
        <label class="field"
          >What it is called, if anything
          <input
            type="text"
            maxlength="60"
            autocomplete="off"
            .value=${this.boardName}
            @input=${(event: Event) => {
              this.boardName = (event.target as HTMLInputElement).value;
            }}
          />
        </label>
      </div>
    </fieldset>`;
  }

  #problems(problems: readonly SheetProblem[]) {
    if (problems.length === 0 || this.text.trim() === '') return nothing;
    return html`<div role="status">
      <h3>To be settled first</h3>
      <ul class="plain">
        ${problems.map(
          (problem) => html`<li>${shape('watch')} <span>${problemWords(problem)}</span></li>`,
        )}
      </ul>
    </div>`;
  }

  #doubts(doubts: readonly Doubt[], { confirmed }: SheetChoices) {
    if (doubts.length === 0) return nothing;
    return html`<fieldset>
      <legend>Look at this before it is kept</legend>
      ${doubts.map(
        ({ about, message }) =>
          html`<p>${shape('watch')} ${message}</p>
            <button
              type="button"
              @click=${() => this.#choose({ confirmed: [...confirmed, about] })}
            >
              I have looked: it is right as it is
            </button>`,
      )}
    </fieldset>`;
  }

  /** A select; without a value it asks for one. */
  #select(
    label: string,
    options: readonly (readonly [string, string])[],
    value: string | undefined,
    pick: (value: string) => void,
  ) {
    return html`<label class="field"
      >${label}
      <select @change=${(event: Event) => pick((event.target as HTMLSelectElement).value)}>
        ${
          value === undefined
            ? html`<option value="" disabled selected>Say which</option>`
            : nothing
        }
        ${options.map(
          ([name, words]) =>
            html`<option value=${name} .selected=${name === value}>${words}</option>`,
        )}
      </select>
    </label>`;
  }

  #take(text: string, file?: string): void {
    this.text = text.toWellFormed();
    this.file = file;
    this.said = '';
    this.#split({});
  }

  /** Splits the text anew. @param kept what was chosen before, where its columns stay the same */
  #split(chosen: { separator?: Separator; decimal?: DecimalSign }, kept?: SheetChoices): void {
    const table = this.text.trim() === '' ? undefined : splitSheet(this.text, chosen);
    this.table = table;
    if (!table || !('rows' in table)) this.choices = undefined;
    else this.choices = kept ?? this.#proposed(table);
  }

  /** What the sheet says, and beside it what the board declares of itself, where it is known. */
  #proposed(table: SheetTable): SheetChoices {
    const said = proposed(table, this.file !== undefined);
    const mounting = declaredMounting(this.opened?.entries ?? []);
    return { ...said, ...(mounting && { mounting }) };
  }

  #role(column: number, role: Role): void {
    const { roles } = this.choices!;
    this.#choose({ roles: roles.map((each, i) => (i === column ? role : each)) });
  }

  #choose(change: Partial<SheetChoices>): void {
    // an answer holds for what was asked: other columns or units are asked about again
    const confirmed = 'confirmed' in change ? {} : { confirmed: [] };
    this.choices = { ...this.choices!, ...confirmed, ...change };
  }

  #board(): string {
    return this.opened?.serial ?? this.serial.trim().toWellFormed();
  }

  #bringIn = async (event: Event) => {
    const input = event.target as HTMLInputElement;
    const file = input.files?.[0];
    if (!file) return;
    input.value = ''; // so that the same file can be chosen again once it is mended
    if (file.size > LARGEST_FILE) {
      this.said = `${file.name} is too large for a sheet of readings. Nothing was changed.`;
      return;
    }
    const bytes = await bytesOf(file);
    if (!bytes) {
      this.said = UNREADABLE;
      return;
    }
    try {
      this.#take(new TextDecoder('utf-8', { fatal: true }).decode(bytes), file.name);
    } catch (error) {
      if (!(error instanceof TypeError)) throw error; // what a fatal decoder throws
      this.said = `${file.name} is not text in UTF-8. Save it as CSV in UTF-8, or copy the cells and paste them. Nothing was changed.`;
    }
  };

  #keep = async () => {
    const outcome = this.#outcome;
    const board = this.#board();
    if (!outcome?.ok || this.bench.opened.state.work) return;
    if (board === '') {
      this.said = 'Say first which board the readings are of.';
      return;
    }
    const name = this.boardName.trim().toWellFormed();
    const { opened } = this.bench;
    const isKept = await opened.keep({
      board,
      ...(name !== '' && { boardName: name }),
      by: this.file === undefined ? 'hand' : 'file',
      ...(this.file !== undefined && { file: this.file }),
      text: this.text,
      read: outcome.read,
    });
    if (!isKept) {
      this.said = opened.state.trouble?.message ?? 'The readings were not kept.';
      return;
    }
    this.#take('');
    this.said = opened.state.said;
    location.hash = boardAddress(board);
  };
}
