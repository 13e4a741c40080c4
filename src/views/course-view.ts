import { html, nothing } from 'lit';
import { customElement, property, state } from 'lit/decorators.js';
import { guard } from 'lit/directives/guard.js';
import { repeat } from 'lit/directives/repeat.js';
import type { Bench } from '../steps/bench.ts';
import { messageOf } from '../steps/bench-words.ts';
import { courseOf, historyOfCalibration, type CourseItem } from '../steps/logbook/board-course.ts';
import type { StoredEntry } from '../steps/logbook/logbook-desk.ts';
import { withdrawal } from '../steps/logbook/remarks.ts';
import { dayWords, isDay, timeWords } from '../steps/time-words.ts';
import './fit-view.ts';
import './judgement-view.ts';
import './proof-view.ts';
import './readings-view.ts';
import { reportLink } from './report-link.ts';
import { shape } from './shapes.ts';
import { View } from './view.ts';

/** How many items are shown before a person asks for the rest. */
const FIRST = 40;

/** What happened to a board, the newest first; a calibration opens to its judgement and its readings. */
@customElement('course-view')
export class CourseView extends View {
  @property({ attribute: false }) bench!: Bench;
  @property() serial!: string;
  @property({ attribute: false }) entries!: readonly StoredEntry[];
  @property({ type: Boolean }) readOnly = false;
  @state() private all = false;
  /** Calibrations that are open. */
  @state() private opened: ReadonlySet<string> = new Set();
  @state() private trouble = '';

  protected override render() {
    return guard([this.entries, this.all, this.opened, this.readOnly, this.trouble], () =>
      this.#course(),
    );
  }

  #course() {
    const course = courseOf(this.entries);
    const shown = this.all ? course : course.slice(0, FIRST);
    return html`
      ${this.trouble ? html`<p role="alert">${this.trouble}</p>` : nothing}
      <ol class="course">
        ${repeat(
          shown,
          ({ key }) => key,
          (item) => this.#item(item),
        )}
      </ol>
      ${
        shown.length === course.length
          ? nothing
          : html`<p class="offers">
              <button type="button" @click=${() => (this.all = true)}>
                Show all ${course.length}
              </button>
            </p>`
      }
    `;
  }

  #item({ when, title, words, mark, calibration, isFitted, remark, withdrawn }: CourseItem) {
    const then = isDay(when) ? dayWords(when) : timeWords(when);
    return html`<li class=${withdrawn ? 'withdrawn' : ''}>
      ${shape(mark === 'plain' ? 'ahead' : mark)}
      <div>
        <p class="note">
          <time datetime=${when}>${then}</time>
        </p>
        <h3>${title}${withdrawn ? ' (taken back: it was wrong)' : ''}</h3>
        ${words.map((each) => html`<p>${each}</p>`)}
        ${calibration === undefined ? nothing : this.#calibration(calibration)}
        ${calibration !== undefined && isFitted ? reportLink(this.serial, calibration, then) : nothing}
        ${
          remark === undefined || this.readOnly
            ? nothing
            : html`<button
                type="button"
                class="quiet"
                aria-label="That was wrong: ${title}, ${then}"
                @click=${() => this.#withdraw(remark)}
              >
                That was wrong
              </button>`
        }
      </div>
    </li>`;
  }

  #calibration(id: string) {
    const toggled = (event: Event) => {
      const { open } = event.target as HTMLDetailsElement;
      const others = [...this.opened].filter((each) => each !== id);
      this.opened = new Set(open ? [...others, id] : others);
    };
    return html`<details class="detail" @toggle=${toggled}>
      <summary>Its judgement and its readings</summary>
      ${this.opened.has(id) ? this.#detail(id) : nothing}
    </details>`;
  }

  #detail(id: string) {
    const history = historyOfCalibration(this.entries, id);
    const { calibration, identity } = history ?? {};
    if (!history || !calibration) return html`<p>Nothing more of it is in the logbook.</p>`;
    return html`<div class="detail-views">
      <judgement-view .history=${history} readOnly></judgement-view>
      ${
        calibration.fit
          ? html`<details>
              <summary><h3>The fit in figures</h3></summary>
              <fit-view .history=${history}></fit-view>
            </details>`
          : nothing
      }
      ${
        calibration.sealed
          ? html`<h3>Its proof</h3>
              <proof-view .state=${{ link: { state: 'none' }, history, said: '' }}></proof-view>`
          : nothing
      }
      <h3>Its readings</h3>
      <readings-view .calibration=${calibration} .identity=${identity} readOnly></readings-view>
    </div>`;
  }

  async #withdraw(remark: string): Promise<void> {
    const { bench, serial } = this;
    try {
      await bench.record(serial, withdrawal(serial, remark, bench.logbook.now()));
      await bench.logbook.refresh();
      this.trouble = '';
    } catch (error) {
      this.trouble = messageOf(error);
    }
  }
}
