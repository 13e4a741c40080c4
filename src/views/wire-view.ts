import { html, nothing } from 'lit';
import { customElement, property, query, state } from 'lit/decorators.js';
import { repeat } from 'lit/directives/repeat.js';
import { fileName } from '../steps/file-out.ts';
import type { WireLog, WireMark } from '../steps/wire-log.ts';
import { NO_FILTER, WireReader, type WireFilter, type WireRow } from '../steps/wire-rows.ts';
import { saveFile } from './save-file.ts';
import { View } from './view.ts';

/** How many rows are on the page at once. Older ones are reached page by page while it stands still. */
const ROWS = 100;

/** How long what was drawn stays, milliseconds: nobody reads faster, and the page has other things to do. */
const DRAWN_MS = 100;

const WAYS: Record<WireMark, string> = {
  '>': 'to the board',
  '<': 'from the board',
  '+': 'link opened',
  '-': 'link ended',
};

/**
 * The lines that cross the link, as they come. It draws ten times a second at most, and nothing while its sheet is closed. The
 * list is no live region: it would never be silent.
 */
@customElement('wire-view')
export class WireView extends View {
  @property({ attribute: false }) log!: WireLog;
  /** Sends a line; resolves with the answer. */
  @property({ attribute: false }) send!: (line: string) => Promise<string>;
  /** Whether there is a board to send to. */
  @property({ type: Boolean }) linked = false;
  /** Beginning of the name of the file that is saved. */
  @property() name = 'wire';
  @state() private filter: WireFilter = NO_FILTER;
  /** The newest line that is shown; absent while all that come are. */
  @state() private until: number | undefined;
  @state() private said = '';
  @query('.wire-box') private box!: HTMLElement;
  #reader!: WireReader;
  #unsubscribe = () => {};
  #drawing: ReturnType<typeof setTimeout> | undefined;
  #sheet: HTMLDetailsElement | null = null;

  override connectedCallback(): void {
    super.connectedCallback();
    this.#sheet = this.closest('details');
    this.#sheet?.addEventListener('toggle', this.#come);
    this.#come();
  }

  override disconnectedCallback(): void {
    super.disconnectedCallback();
    this.#sheet?.removeEventListener('toggle', this.#come);
    clearTimeout(this.#drawing);
    this.#drawing = undefined;
    this.#unsubscribe();
    this.#unsubscribe = () => {};
  }

  override willUpdate(changes: Map<PropertyKey, unknown>): void {
    super.willUpdate(changes);
    if (!changes.has('log')) return;
    this.#reader = new WireReader(this.log);
    this.until = undefined;
    this.#unsubscribe();
    this.#unsubscribe = this.log.subscribe(this.#come);
  }

  /** Whether a person can see it. */
  get #isOpen(): boolean {
    return this.#sheet?.open ?? true;
  }

  /** Something is there to be shown: soon, if anyone looks. */
  readonly #come = (): void => {
    if (this.#drawing !== undefined || !this.#isOpen) return;
    this.#drawing = setTimeout(() => {
      this.#drawing = undefined;
      this.requestUpdate();
    }, DRAWN_MS);
  };

  protected override render() {
    if (!this.#isOpen) return nothing;
    const { log, filter } = this;
    const until = this.until ?? log.last;
    const { rows, more } = this.#reader.rows(filter, until, ROWS);
    return html`
      <p class="note">
        Every line between this program and the board, as it crosses the link: &gt; to the board,
        &lt; from it. The latest 10 000 are kept while this page is open.
      </p>
      ${this.#filters()}
      <div class="offers">
        <button type="button" @click=${this.#pause}>
          ${this.until === undefined ? 'Stand still' : `Go on${this.#since(until)}`}
        </button>
        <button type="button" @click=${this.#save}>Save as a file</button>
        ${
          this.until !== undefined && more
            ? html`<button type="button" @click=${() => this.#older(rows)}>Older lines</button>`
            : nothing
        }
      </div>
      <div class="wire-box" tabindex="0" role="region" aria-label="Lines on the wire">
        ${
          rows.length === 0
            ? html`<p class="note">
                ${log.last === 0 ? 'No line has crossed the link yet.' : 'No line fits what you look for.'}
              </p>`
            : html`<ol class="wire">
                ${repeat(rows, ({ number }) => number, row)}
              </ol>`
        }
      </div>
      <form class="by-hand" @submit=${this.#submit}>
        <label class="field"
          >A line to send, without its check
          <input
            type="text"
            name="line"
            autocomplete="off"
            autocapitalize="off"
            spellcheck="false"
            placeholder="memory"
            required
          />
        </label>
        <button type="submit" aria-disabled=${this.linked ? 'false' : 'true'}>Send</button>
        <p class="note">
          Such a line cannot change what the board keeps: it refuses to seal, to erase, or to store
          a reading. Without a number of its own the line gets the next one.
        </p>
      </form>
      <p role="status">${this.said}</p>
    `;
  }

  protected override updated(changes: Map<PropertyKey, unknown>): void {
    super.updated(changes);
    if (this.until === undefined && this.box) this.box.scrollTop = this.box.scrollHeight;
  }

  #filters() {
    const { way, kind, holds } = this.filter;
    return html`<div class="fields">
      <label class="field"
        >Which way
        <select
          .value=${way}
          @change=${(event: Event) => this.#look({ way: valueOf(event) as WireFilter['way'] })}
        >
          <option value="both">Both ways</option>
          <option value="to_board">To the board</option>
          <option value="from_board">From the board</option>
        </select>
      </label>
      <label class="field"
        >Which lines
        <select
          .value=${kind}
          @change=${(event: Event) => this.#look({ kind: valueOf(event) as WireFilter['kind'] })}
        >
          <option value="all">All</option>
          <option value="readings">Readings</option>
          <option value="faults">What went wrong</option>
        </select>
      </label>
      <label class="field"
        >That hold
        <input
          type="text"
          autocomplete="off"
          spellcheck="false"
          .value=${holds}
          @input=${(event: Event) => this.#look({ holds: valueOf(event) })}
        />
      </label>
    </div>`;
  }

  #look(change: Partial<WireFilter>) {
    this.filter = { ...this.filter, ...change };
  }

  #since(until: number): string {
    const count = this.log.last - until;
    return count === 0 ? '' : ` (${count} more)`;
  }

  #pause() {
    this.until = this.until === undefined ? this.log.last : undefined;
  }

  #older(rows: readonly WireRow[]) {
    this.until = rows[0]!.number - 1;
  }

  #save() {
    const time = new Date().toISOString().slice(0, 19);
    const name = fileName([this.name, time], 'txt');
    this.said = saveFile({ name, content: this.log.recording(), type: 'text/plain' });
  }

  async #submit(event: SubmitEvent) {
    event.preventDefault();
    if (!this.linked) {
      this.said = 'No board is linked, so nothing was sent.';
      return;
    }
    const form = event.target as HTMLFormElement;
    const line = String(new FormData(form).get('line') ?? '');
    this.said = 'Sent. Waiting for the answer.';
    this.said = await this.send(line);
    form.reset();
  }
}

const valueOf = (event: Event): string => (event.target as HTMLInputElement).value;

function row({ time, mark, text, meaning }: WireRow) {
  return html`<li class=${mark === '>' ? 'there' : mark === '<' ? 'back' : 'turn'}>
    <span class="wire-time">${time}</span>
    <span class="wire-mark"
      ><span aria-hidden="true">${mark}</span><span class="unseen">${WAYS[mark]}</span></span
    >
    ${mark === '>' || mark === '<' ? html`<code>${text}</code>` : nothing}
    <span class="wire-meaning">${meaning}</span>
  </li>`;
}
