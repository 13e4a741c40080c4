import { html, nothing, type PropertyValues } from 'lit';
import { customElement, property, query } from 'lit/decorators.js';
import type { Bench } from '../steps/bench.ts';
import { workWords } from '../steps/bench-words.ts';
import { calibrationsOf, calibrationWords } from '../steps/logbook/calibrations-of.ts';
import type { LogbookState } from '../steps/logbook/logbook-desk.ts';
import type { OpenedState } from '../steps/logbook/opened-calibration.ts';
import { coefficientsFileOf } from '../steps/logbook/sets-out.ts';
import { timeWords } from '../steps/time-words.ts';
import './fit-view.ts';
import './judgement-view.ts';
import './readings-view.ts';
import type { IntentionEvent } from './next-card.ts';
import type { MarkEvent } from './readings-view.ts';
import { saveFile } from './save-file.ts';
import { shape } from './shapes.ts';
import type { ToleranceEvent } from './tolerance-choice.ts';
import { View } from './view.ts';

/** The calibrations of a board; one of them opened, to be fitted, judged and marked with no board linked. */
@customElement('opened-view')
export class OpenedView extends View {
  @property({ attribute: false }) bench!: Bench;
  /** The board whose page it stands on, and its entries. */
  @property({ attribute: false }) page!: NonNullable<LogbookState['opened']>;
  @query('select[name="calibration"]') private choice!: HTMLSelectElement;
  /** The calibration that was shown last. */
  #shown: string | undefined;

  protected override follows() {
    return [this.bench];
  }

  override connectedCallback(): void {
    super.connectedCallback();
    this.addEventListener('mark', this.#mark as EventListener);
    this.addEventListener('tolerance', this.#tolerance as EventListener);
    this.addEventListener('intention', this.#goThrough as EventListener);
  }

  override disconnectedCallback(): void {
    super.disconnectedCallback();
    this.removeEventListener('mark', this.#mark as EventListener);
    this.removeEventListener('tolerance', this.#tolerance as EventListener);
    this.removeEventListener('intention', this.#goThrough as EventListener);
  }

  /** What was just opened is brought into sight: it may be far down a board's page. */
  protected override updated(changes: PropertyValues): void {
    super.updated(changes);
    const { calibration } = this.bench.opened.history ?? {};
    const shown = calibration?.board === this.page.serial ? calibration.id : undefined;
    const heading = this.querySelector<HTMLElement>('#opened-heading');
    if (shown !== undefined && !heading) return; // the board's entries are still being read
    if (shown !== undefined && shown !== this.#shown) heading?.focus();
    this.#shown = shown;
  }

  protected override render() {
    const { opened } = this.bench;
    const { history, state } = opened;
    const { serial, entries = [] } = this.page;
    const isHere = history?.calibration?.board === serial;
    const all = calibrationsOf(entries).filter(({ readings }) => readings > 0);
    if (all.length === 0) return nothing;
    return html`
      <section class="sheet opened" aria-labelledby="opened-heading">
        <h2 id="opened-heading" tabindex="-1">Fit and judge without the board</h2>
        <div class="fields">
          <label class="field"
            >Calibration
            <select name="calibration">
              ${all.map(
                (each) =>
                  html`<option
                    value=${each.id}
                    .selected=${isHere && each.id === history.calibration?.id}
                  >
                    ${calibrationWords(each)}
                  </option>`,
              )}
            </select>
          </label>
          <div class="offers">
            ${this.#button('Open it', 'other', () => opened.open(serial, this.choice.value))}
          </div>
        </div>
        ${isHere ? this.#opened(state) : nothing} ${this.#happening(state)}
      </section>
    `;
  }

  #opened(state: OpenedState) {
    const { opened } = this.bench;
    const { history } = state;
    const { calibration, identity } = history;
    if (!calibration) return nothing;
    const { fit, refusal, readings, entered, started } = calibration;
    const file = coefficientsFileOf(history);
    const isHeld = opened.isInHand;
    const current = (fit && !fit.stale) || (refusal && !refusal.stale);
    const otherUnits =
      entered && (entered.units.acc !== 'counts' || entered.units.mag !== 'counts');
    return html`
      <h3>Opened: ${entered ? 'a sheet of' : 'begun on'} ${timeWords(started)}</h3>
      ${
        isHeld
          ? html`<p class="stale">
              ${shape('watch')}
              <span
                >Its board is linked, so this calibration is worked on
                <a href="#bench">at the bench</a>. Here it can be looked at.</span
              >
            </p>`
          : nothing
      }
      ${
        entered
          ? html`<p class="note">
              Read from ${entered.file ?? 'what was pasted or typed'} in ${entered.units.acc} and
              ${entered.units.mag}${
                otherUnits
                  ? html`, kept as thousandths of standard gravity and as nanotesla where they were
                    no counts. Coefficients hold for numbers in just these units, so the bench
                    writes them to no board`
                  : nothing
              }.
            </p>`
          : nothing
      }
      <div class="offers">
        ${
          isHeld
            ? nothing
            : this.#button(fit ? 'Fit again' : 'Fit', current ? 'other' : 'main', () =>
                opened.fit(),
              )
        }
        ${
          file === undefined
            ? nothing
            : this.#button('Take out the coefficients', 'other', () => {
                saveFile(file);
              })
        }
        ${this.#button('Put it away', 'other', () => opened.close())}
      </div>
      ${
        fit || refusal
          ? html`<details open>
              <summary><h3>Is it good enough?</h3></summary>
              <judgement-view .history=${history}></judgement-view>
            </details>`
          : nothing
      }
      ${
        fit
          ? html`<details>
              <summary><h3>The fit in figures</h3></summary>
              <fit-view .history=${history}></fit-view>
            </details>`
          : nothing
      }
      <details ?open=${fit === undefined}>
        <summary><h3>Readings: ${readings.length}</h3></summary>
        <readings-view
          .calibration=${calibration}
          .identity=${identity}
          .busy=${state.work !== undefined || isHeld}
        ></readings-view>
      </details>
    `;
  }

  #happening({ work, trouble, said }: OpenedState) {
    return html`
      ${
        work
          ? html`<label class="work"><span>${workWords(work)}</span><progress></progress></label>`
          : nothing
      }
      ${
        trouble
          ? html`<div class="trouble" role="alert">
              ${shape('bad')}
              <div>
                <h3>${trouble.heading}</h3>
                <p>${trouble.message}</p>
              </div>
            </div>`
          : nothing
      }
      <p role="status">${said}</p>
    `;
  }

  /** While something is being done it does nothing, but is not disabled: that would lose the focus. */
  #button(label: string, kind: 'main' | 'other', act: () => unknown) {
    const busy = this.bench.opened.state.work !== undefined;
    return html`<button
      type="button"
      class=${kind}
      aria-disabled=${busy ? 'true' : 'false'}
      @click=${() => {
        if (!busy) void act();
      }}
    >
      ${label}
    </button>`;
  }

  // what the views within ask for is meant for the opened calibration, not for the board at hand

  #mark = (event: MarkEvent) => {
    event.stopPropagation();
    void this.bench.opened.mark(event.wish);
  };

  #tolerance = (event: ToleranceEvent) => {
    event.stopPropagation();
    void this.bench.opened.chooseTolerance(event.tolerance);
  };

  /** The only intentions that the table of readings has. */
  #goThrough = (event: IntentionEvent) => {
    event.stopPropagation();
    const { opened } = this.bench;
    void (event.intention === 'redo' ? opened.redo() : opened.undo());
  };
}
