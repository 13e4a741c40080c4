import { html, nothing } from 'lit';
import { customElement, property, query, state } from 'lit/decorators.js';
import { repeat } from 'lit/directives/repeat.js';
import {
  openSlots,
  suggestedAside,
  type BoardHistory,
  type CalibrationState,
} from '../steps/calibration-state.ts';
import type { LiveFit } from '../steps/live-fit.ts';
import { stepWords, type MarkStep } from '../steps/mark-steps.ts';
import type { MarkWish } from '../steps/marks.ts';
import { coverageOf } from '../steps/plan-coverage.ts';
import {
  ordered,
  readingRows,
  ROW_ORDERS,
  sightingChoices,
  type ReadingRow,
  type RowOrder,
} from '../steps/reading-rows.ts';
import './body-nets.ts';
import type { ChooseEvent } from './body-nets.ts';
import './net-picture.ts';
import { IntentionEvent } from './next-card.ts';
import './readings-view.css';
import { shape } from './shapes.ts';
import { View } from './view.ts';

/** A person has readings count otherwise: leaves one out, puts it back, moves it. */
export class MarkEvent extends Event {
  static readonly type = 'mark';
  constructor(readonly wish: MarkWish) {
    super(MarkEvent.type, { bubbles: true });
  }
}

const REASONS = [
  'It moved while it was taken',
  'Aimed along the wrong line',
  'Held at the wrong roll',
  'Iron or a magnet was near',
  'Taken twice',
];

/** No sighting, as the choice of one has it. */
const NONE = '';

/** The pictures of what is covered, and the readings one by one. */
@customElement('readings-view')
export class ReadingsView extends View {
  @property({ attribute: false }) calibration!: CalibrationState;
  /** Of the board, where it is known. */
  @property({ attribute: false }) identity: BoardHistory['identity'];
  /** The provisional fit, where there is one. */
  @property({ attribute: false }) live: LiveFit | undefined;
  @property({ type: Boolean }) busy = false;
  /** Only to be looked at: no reading is set aside, taken back or moved. */
  @property({ type: Boolean }) readOnly = false;
  /** The reading that a person is asked about. */
  @state() private asked: ReadingRow | undefined;
  /** Id of the reading that is marked in the nets and the table. */
  @state() private chosen: string | undefined;
  @state() private order: RowOrder = 'newest';
  @query('dialog.why') private why!: HTMLDialogElement;
  @query('dialog.whither') private whither!: HTMLDialogElement;

  /** There may be several on a page that are only looked at. */
  get #tableName(): string {
    if (!this.readOnly) return 'Readings, one by one';
    return `Readings begun ${this.calibration.started.slice(0, 19).replace('T', ' ')} UTC`;
  }

  protected override render() {
    const { calibration } = this;
    const { plan, readings } = calibration;
    const rows = readingRows(calibration, this.identity, this.live);
    const covered = coverageOf(plan.sightings, readings, openSlots(calibration)[0]);
    return html`
      <div
        class="readings-sheet"
        @choose-reading=${(event: ChooseEvent) => this.#choose(event.reading)}
        @go-to-row=${(event: CustomEvent<string>) => this.#goToRow(event.detail)}
      >
        <div class="pictures">
          ${
            plan.sightings.length === 0
              ? nothing
              : html`<div>
                  <h3>The plan: where the sight is to point</h3>
                  <net-picture .covered=${covered}></net-picture>
                </div>`
          }
          ${
            readings.length === 0
              ? nothing
              : html`<body-nets
                  .calibration=${calibration}
                  .live=${this.live}
                  .rows=${rows}
                  .chosen=${this.chosen}
                ></body-nets>`
          }
        </div>
        ${readings.length === 0 ? html`<p>No readings yet.</p>` : this.#table(rows)}
        ${this.readOnly ? nothing : html`${this.#whyDialog()} ${this.#whitherDialog()}`}
      </div>
    `;
  }

  #table(rows: readonly ReadingRow[]) {
    const { fit } = this.calibration;
    return html`
      <div class="table-head">
        <h3>One by one</h3>
        <label class="sort"
          >Order
          <select @change=${this.#sort}>
            ${Object.entries(ROW_ORDERS).map(
              ([order, words]) =>
                html`<option value=${order} .selected=${order === this.order}>${words}</option>`,
            )}
          </select>
        </label>
        ${this.readOnly ? nothing : this.#steps()}
      </div>
      ${this.readOnly ? nothing : this.#byFit(rows)}
      ${
        fit?.stale && !this.live?.ok
          ? html`<p>The figures are of the fit before the latest change.</p>`
          : nothing
      }
      <div class="scroll tall" tabindex="0" role="region" aria-label=${this.#tableName}>
        <table class="readings">
          <thead>
            <tr>
              <th scope="col">No.</th>
              <th scope="col" aria-sort=${this.order === 'sighting' ? 'ascending' : nothing}>
                Aim
              </th>
              <th
                scope="col"
                class="figure"
                aria-sort=${this.order === 'misfit' ? 'descending' : nothing}
              >
                Misfit
              </th>
              <th scope="col" class="figure">Off aim</th>
              <th scope="col" class="figure">Gravity left</th>
              <th scope="col" class="figure">Field left</th>
              <th scope="col" class="figure">Gravity</th>
              <th scope="col" class="figure">Field</th>
              <th scope="col" class="figure">Temp., °C</th>
              ${this.readOnly ? nothing : html`<th scope="col">Change</th>`}
            </tr>
          </thead>
          <tbody>
            ${repeat(
              ordered(rows, this.order),
              ({ id }) => id,
              (row) => this.#row(row),
            )}
          </tbody>
        </table>
      </div>
      <p class="note">
        A misfit of about one is normal, over two and a half is not. Off aim is from the middle of
        the sighting; a few tenths of a degree are normal. Gravity left and field left are what the
        fit leaves over of the counts, in percent of 1 g and of the field: about the noise is normal
        (0.1 to 0.3 %). Gravity and field are lengths: one where all is well. None of it sees what
        is alike in every reading, such as iron in the housing’s holder.
      </p>
    `;
  }

  /** The way back, and forth again. Both stay where they are when there is nothing to do: the focus may be on them. */
  #steps() {
    const { done, undone } = this.calibration.marks;
    const button = (intention: 'undo' | 'redo', word: string, step: MarkStep | undefined) =>
      html`<button
        type="button"
        aria-disabled=${this.busy || !step ? 'true' : 'false'}
        @click=${() => {
          if (!this.busy && step) this.dispatchEvent(new IntentionEvent(intention));
        }}
      >
        ${word}${step ? `: ${stepWords(step)}` : ''}
      </button>`;
    return html`<div class="steps">
      ${button('undo', 'Undo', done.at(-1))} ${button('redo', 'Redo', undone.at(-1))}
    </div>`;
  }

  /** What the fit left out, or would, as one step. */
  #byFit(rows: readonly ReadingRow[]) {
    const left = rows.filter(({ setAside }) => setAside?.by === 'fit').map(({ id }) => id);
    const suggested = suggestedAside(this.calibration).map(({ id }) => id);
    const readings = (ids: readonly string[]) =>
      ids.length === 1 ? `reading ${ids[0]}` : `${ids.length} readings: ${ids.join(', ')}`;
    const boxes: { words: string; label: string; wish: MarkWish }[] = [];
    if (left.length > 0) {
      boxes.push({
        words: `The fit left out ${readings(left)}. Why stands beside each. This is a suggestion, followed in one step; it can be taken back in one.`,
        label: left.length === 1 ? 'Take it back' : `Take all ${left.length} back`,
        wish: { does: 'take back', readings: left },
      });
    }
    if (suggested.length > 0) {
      boxes.push({
        words: `The fit would leave out ${readings(suggested)}, which you took back. As long as one of them counts, no fit leaves out any.`,
        label: suggested.length === 1 ? 'Set it aside again' : `Set all ${suggested.length} aside`,
        wish: { does: 'follow the fit' },
      });
    }
    return boxes.map(
      ({ words, label, wish }) =>
        html`<div class="by-fit">
          <p>${shape('watch')} ${words}</p>
          ${this.#button(label, () => this.#wish(wish))}
        </div>`,
    );
  }

  /** While something is being done it does nothing, but is not disabled: that would lose the focus. */
  #button(label: string, act: () => void, named?: string) {
    return html`<button
      type="button"
      aria-label=${named ?? nothing}
      aria-disabled=${this.busy ? 'true' : 'false'}
      @click=${() => {
        if (!this.busy) act();
      }}
    >
      ${label}
    </button>`;
  }

  #wish(wish: MarkWish) {
    this.dispatchEvent(new MarkEvent(wish));
  }

  #row(row: ReadingRow) {
    const { id, sighting, line, roll, odd, setAside, doubt, evidence, belongs, moved } = row;
    const isChosen = id === this.chosen;
    const figure = (name: string, value: unknown, unit = '') =>
      html`<td class="figure" data-name=${name}>${value}${unit}</td>`;
    const flag = (words: string, kind: 'watch' | 'bad' | 'now' = 'watch') =>
      html`<span class="reason">${shape(kind)} ${words}</span>`;
    return html`<tr class="${setAside ? 'aside' : ''} ${isChosen ? 'chosen' : ''}">
      <th scope="row">${this.#pick(id)}</th>
      <td class="aim">
        <span class="line">${line}; ${roll}</span>
        <span class="of"
          >${sighting === undefined ? 'of no sighting' : `sighting ${sighting}`}</span
        >
        ${setAside ? flag(`Set aside${setAside.by === 'fit' ? ' by the fit' : ''}: ${setAside.reason}`, 'bad') : nothing}
        ${moved ? flag(moved, 'now') : nothing} ${doubt ? flag(doubt) : nothing}
        ${evidence.map((words) => flag(words))}
        ${
          belongs
            ? html`${flag(belongs.words)}
              ${
                this.readOnly
                  ? nothing
                  : this.#button(`Move it to sighting ${belongs.sighting}`, () =>
                      this.#wish({ does: 'move', reading: id, sighting: belongs.sighting }),
                    )
              }`
            : nothing
        }
      </td>
      ${figure('Misfit', html`${odd ? html`${shape('watch')} ` : nothing}${row.misfit}`)}
      ${figure('Off aim', row.aimError)} ${figure('Gravity left', row.accResidual)}
      ${figure('Field left', row.magResidual)} ${figure('Gravity', row.gravity)}
      ${figure('Field', row.field)} ${figure('Temp., °C', row.temperature)}
      ${
        this.readOnly
          ? nothing
          : html`<td class="act">
              ${this.#button(
                setAside ? 'Take back' : 'Set aside',
                () => {
                  if (setAside) this.#wish({ does: 'take back', readings: [id] });
                  else this.#ask(row, this.why);
                },
                `${setAside ? 'Take back' : 'Set aside'} reading ${id}`,
              )}
              ${this.#button('Move…', () => this.#ask(row, this.whither), `Move… reading ${id}`)}
            </td>`
      }
    </tr>`;
  }

  /** Its words are set as a property, so that a row's first cell holds the id and nothing else. */
  #pick(id: string) {
    const isChosen = id === this.chosen;
    return html`<button
      type="button"
      class="pick"
      aria-label="Reading ${id}, mark it in the nets"
      aria-pressed=${isChosen ? 'true' : 'false'}
      .textContent=${id}
      @click=${() => this.#choose(isChosen ? undefined : id)}
    ></button>`;
  }

  #whyDialog() {
    return html`<dialog class="why" aria-labelledby="aside-heading">
      <form method="dialog" @submit=${this.#submitWhy}>
        <h3 id="aside-heading">Set aside reading ${this.asked?.id}</h3>
        <p>It stays in the logbook and can be taken back; the fit will not see it.</p>
        <fieldset>
          <legend>Why</legend>
          ${REASONS.map(
            (reason, i) =>
              html`<label class="choice"
                ><input type="radio" name="reason" value=${reason} ?checked=${i === 0} />
                ${reason}</label
              >`,
          )}
          <label class="choice"
            ><input type="radio" name="reason" value="" /> Another reason, written below</label
          >
          <label class="field"
            >In your words
            <input type="text" name="words" maxlength="120" autocomplete="off" />
          </label>
        </fieldset>
        <div class="offers">
          <button type="submit" value="aside" class="main">Set it aside</button>
          <button type="submit" value="" formnovalidate>Leave it in</button>
        </div>
      </form>
    </dialog>`;
  }

  #whitherDialog() {
    const { asked } = this;
    const choices = asked ? sightingChoices(this.calibration) : [];
    return html`<dialog class="whither" aria-labelledby="move-heading">
      <form method="dialog" @submit=${this.#submitWhither}>
        <h3 id="move-heading">Move reading ${asked?.id} to another sighting</h3>
        <p>
          For a reading that was aimed along another line than the plan asked for. Its counts stay
          as they are; its place in the plan is open again. It can be undone.
        </p>
        <label class="field"
          >It belongs to
          <select name="sighting">
            ${choices.map(
              ({ sighting, words }) =>
                html`<option value=${sighting} .selected=${sighting === asked?.sighting}>
                  ${words}
                </option>`,
            )}
            <option value=${NONE} .selected=${asked !== undefined && asked.sighting === undefined}>
              No sighting: its attitude counts, its line does not
            </option>
          </select>
        </label>
        <div class="offers">
          <button type="submit" value="move" class="main">Move it</button>
          <button type="submit" value="" formnovalidate>Leave it where it is</button>
        </div>
      </form>
    </dialog>`;
  }

  #ask(row: ReadingRow, dialog: HTMLDialogElement) {
    this.asked = row;
    dialog.querySelector('form')!.reset();
    void this.updateComplete.then(() => dialog.showModal());
  }

  #submitWhy(event: SubmitEvent) {
    const button = event.submitter as HTMLButtonElement | null;
    if (button?.value !== 'aside' || !this.asked) return;
    const form = new FormData(event.target as HTMLFormElement);
    const words = String(form.get('words') ?? '')
      .trim()
      .toWellFormed();
    const reason =
      [String(form.get('reason') ?? ''), words].filter(Boolean).join(': ') || 'No reason given';
    this.dispatchEvent(new MarkEvent({ does: 'set aside', reading: this.asked.id, reason }));
  }

  #submitWhither(event: SubmitEvent) {
    const button = event.submitter as HTMLButtonElement | null;
    if (button?.value !== 'move' || !this.asked) return;
    const sighting = String(new FormData(event.target as HTMLFormElement).get('sighting') ?? NONE);
    const { id, sighting: own } = this.asked;
    if (sighting === (own ?? NONE)) return; // it is there
    this.dispatchEvent(
      new MarkEvent({ does: 'move', reading: id, ...(sighting !== NONE && { sighting }) }),
    );
  }

  #sort = (event: Event) => {
    this.order = (event.target as HTMLSelectElement).value as RowOrder;
  };

  /** Marks a reading in the nets and the table, and brings its row into the table's sight, not the page's. */
  #choose(reading: string | undefined) {
    this.chosen = reading;
    void this.updateComplete.then(() => {
      const row = this.querySelector<HTMLElement>('tr.chosen');
      const region = this.querySelector<HTMLElement>('.scroll.tall');
      if (!row || !region || row.contains(document.activeElement)) return;
      const { top, bottom } = region.getBoundingClientRect();
      const at = row.getBoundingClientRect();
      const head = region.querySelector('thead')?.getBoundingClientRect().height ?? 0;
      if (at.top < top + head || at.bottom > bottom) {
        region.scrollTop += at.top - top - head;
      }
    });
  }

  #goToRow(reading: string) {
    this.chosen = reading;
    void this.updateComplete.then(() =>
      this.querySelector<HTMLElement>('tr.chosen .pick')?.focus(),
    );
  }
}
