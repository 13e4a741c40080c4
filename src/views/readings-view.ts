import { html, nothing } from 'lit';
import { customElement, property, query, state } from 'lit/decorators.js';
import { coverageOf } from '../steps/plan-coverage.ts';
import { openSlots, type BoardHistory, type CalibrationState } from '../steps/calibration-state.ts';
import { stepWords } from '../steps/mark-steps.ts';
import type { MarkWish } from '../steps/marks.ts';
import { readingRows, type ReadingRow } from '../steps/reading-rows.ts';
import './net-picture.ts';
import { IntentionEvent } from './next-card.ts';
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

/** The picture of what is covered, and the readings one by one. */
@customElement('readings-view')
export class ReadingsView extends View {
  @property({ attribute: false }) calibration!: CalibrationState;
  /** Of the board, where it is known. */
  @property({ attribute: false }) identity: BoardHistory['identity'];
  @property({ type: Boolean }) busy = false;
  /** Only to be looked at: no reading is set aside or taken back. */
  @property({ type: Boolean }) readOnly = false;
  @state() private chosen: ReadingRow | undefined;
  @query('dialog') private dialog!: HTMLDialogElement;

  /** There may be several on a page that are only looked at. */
  get #tableName(): string {
    if (!this.readOnly) return 'Readings, one by one';
    return `Readings begun ${this.calibration.started.slice(0, 19).replace('T', ' ')} UTC`;
  }

  protected override render() {
    const { plan, readings } = this.calibration;
    const covered = coverageOf(plan.sightings, readings, openSlots(this.calibration)[0]);
    return html`
      ${plan.sightings.length === 0 ? nothing : html`<net-picture .covered=${covered}></net-picture>`}
      ${readings.length === 0 ? html`<p>No readings yet.</p>` : this.#table()}
      ${this.readOnly ? nothing : this.#dialog()}
    `;
  }

  #table() {
    const rows = readingRows(this.calibration, this.identity).reverse();
    const stale = this.calibration.fit?.stale;
    const done = this.calibration.marks.done.at(-1);
    return html`
      <div class="table-head">
        <h3>One by one, the newest first</h3>
        ${
          done === undefined || this.readOnly
            ? nothing
            : html`<button
                type="button"
                aria-disabled=${this.busy ? 'true' : 'false'}
                @click=${() => this.#undo()}
              >
                Undo: ${stepWords(done)}
              </button>`
        }
      </div>
      ${stale ? html`<p>The figures are of the fit before the latest change.</p>` : nothing}
      <div class="scroll tall" tabindex="0" role="region" aria-label=${this.#tableName}>
        <table class="readings">
          <thead>
            <tr>
              <th scope="col">No.</th>
              <th scope="col">Aim</th>
              <th scope="col" class="figure">Misfit</th>
              <th scope="col" class="figure wide">Off aim</th>
              <th scope="col" class="figure wide">Field</th>
              <th scope="col" class="figure wide">Gravity</th>
              <th scope="col" class="figure wide">Temp., °C</th>
              ${this.readOnly ? nothing : html`<th scope="col">In the fit</th>`}
            </tr>
          </thead>
          <tbody>
            ${rows.map((row) => this.#row(row))}
          </tbody>
        </table>
      </div>
      <p class="note">
        A misfit of about one is normal, over two and a half is not. Field and gravity are lengths:
        one where all is well.
      </p>
    `;
  }

  #row(row: ReadingRow) {
    const { id, line, roll, misfit, odd, aimError, field, gravity, temperature, doubt, setAside } =
      row;
    return html`<tr class=${setAside ? 'aside' : ''}>
      <th scope="row">${id}</th>
      <td class="aim">
        <span class="line">${line}; ${roll}</span>
        ${
          setAside
            ? html`<span class="reason"
                >${shape('bad')} Set aside${setAside.by === 'fit' ? ' by the fit' : ''}:
                ${setAside.reason}</span
              >`
            : nothing
        }
        ${doubt ? html`<span class="reason">${shape('watch')} ${doubt}</span>` : nothing}
      </td>
      <td class="figure">${odd ? html`${shape('watch')} ` : nothing}${misfit}</td>
      <td class="figure wide">${aimError}</td>
      <td class="figure wide">${field}</td>
      <td class="figure wide">${gravity}</td>
      <td class="figure wide">${temperature}</td>
      ${
        this.readOnly
          ? nothing
          : html`<td class="act">
              <button
                type="button"
                aria-label="${setAside ? 'Take back' : 'Set aside'} reading ${id}"
                aria-disabled=${this.busy ? 'true' : 'false'}
                @click=${() => (setAside ? this.#mark(id) : this.#choose(row))}
              >
                ${setAside ? 'Take back' : 'Set aside'}
              </button>
            </td>`
      }
    </tr>`;
  }

  #dialog() {
    return html`<dialog aria-labelledby="aside-heading">
      <form method="dialog" @submit=${this.#submit}>
        <h3 id="aside-heading">Set aside reading ${this.chosen?.id}</h3>
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

  #choose(row: ReadingRow) {
    if (this.busy) return;
    this.chosen = row;
    this.dialog.querySelector('form')!.reset();
    this.dialog.showModal();
  }

  #submit(event: SubmitEvent) {
    const button = event.submitter as HTMLButtonElement | null;
    if (button?.value !== 'aside' || !this.chosen) return;
    const form = new FormData(event.target as HTMLFormElement);
    const words = String(form.get('words') ?? '')
      .trim()
      .toWellFormed();
    const reason = [String(form.get('reason') ?? ''), words].filter(Boolean).join(': ');
    this.dispatchEvent(
      new MarkEvent({
        does: 'set aside',
        reading: this.chosen.id,
        reason: reason || 'No reason given',
      }),
    );
  }

  #mark(id: string) {
    if (!this.busy) this.dispatchEvent(new MarkEvent({ does: 'take back', readings: [id] }));
  }

  #undo() {
    if (!this.busy) this.dispatchEvent(new IntentionEvent('undo'));
  }
}
