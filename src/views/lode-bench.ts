import { html, nothing, type PropertyValues } from 'lit';
import { customElement, property, query, state } from 'lit/decorators.js';
import { keyed } from 'lit/directives/keyed.js';
import type { Bench } from '../steps/bench.ts';
import type { Keeping } from '../steps/logbook/keeping.ts';
import type { NewerVersion } from '../steps/newer-version.ts';
import { nextStep } from '../steps/next-step.ts';
import type { BenchPlace } from '../steps/place.ts';
import type { PlaceState } from '../steps/place-state.ts';
import { sealingWords } from '../steps/sealing-words.ts';
import { writable } from '../steps/calibration-state.ts';
import { bringToSight, leadTo, newOutcome } from './bring-to-sight.ts';
import './bench-sheets.ts';
import './board-strip.ts';
import type { AskThereEvent, PickEvent } from './board-tile.ts';
import './held-elsewhere.ts';
import './keeping-notice.ts';
import type { LinkEvent } from './link-kinds.ts';
import './next-card.ts';
import type { IntentionEvent } from './next-card.ts';
import './newer-version-notice.ts';
import { partOf, type PagePart } from './page-part.ts';
import './path-strip.ts';
import type { MarkEvent } from './readings-view.ts';
import { askToSeal, sealingForm } from './sealing-form.ts';
import type { AdjustEvent, SimulatorView } from './simulator-view.ts';
import type { ToleranceEvent } from './tolerance-choice.ts';
import { View } from './view.ts';

/** The whole page. It hears the bench and passes on what a person asks. */
@customElement('lode-bench')
export class LodeBench extends View {
  @property({ attribute: false }) bench!: Bench;
  @property({ attribute: false }) newer!: NewerVersion;
  @property({ attribute: false }) keeping!: Keeping;
  @query('dialog.write') private dialog!: HTMLDialogElement;
  @query('simulator-view') private simulator!: SimulatorView | null;
  @state() private asked: PagePart = partOf(location.hash);
  /** What is shown of the logbook is loaded when it is asked for first. */
  @state() private loads: Partial<Record<LoadedPart, 'under way' | 'done' | 'failed'>> = {};
  /** What a person was asked about writing, and the place where its board is. */
  @state() private shown: { place: BenchPlace; id: string } | undefined;
  /** The bench was asked for in this page: until then it is not drawn behind the logbook. */
  #benchAsked = false;
  /** What was rendered last while no work was under way, and of which place. */
  #before: { place: BenchPlace; state: PlaceState } | undefined;

  protected override follows() {
    return [this.bench];
  }

  override connectedCallback(): void {
    super.connectedCallback();
    this.addEventListener('intention', this.#intention as EventListener);
    this.addEventListener('mark', this.#mark as EventListener);
    this.addEventListener('tolerance', this.#tolerance as EventListener);
    this.addEventListener('adjust', this.#adjust as EventListener);
    this.addEventListener('link-board', this.#link as EventListener);
    this.addEventListener('pick', this.#pick as EventListener);
    this.addEventListener('ask-there', this.#askThere as EventListener);
    addEventListener('hashchange', this.#go);
    void this.#showPart();
  }

  override disconnectedCallback(): void {
    super.disconnectedCallback();
    this.removeEventListener('intention', this.#intention as EventListener);
    this.removeEventListener('mark', this.#mark as EventListener);
    this.removeEventListener('tolerance', this.#tolerance as EventListener);
    this.removeEventListener('adjust', this.#adjust as EventListener);
    this.removeEventListener('link-board', this.#link as EventListener);
    this.removeEventListener('pick', this.#pick as EventListener);
    this.removeEventListener('ask-there', this.#askThere as EventListener);
    removeEventListener('hashchange', this.#go);
  }

  protected override updated(changes: PropertyValues): void {
    super.updated(changes);
    const place = this.bench.atHand;
    const { state } = place;
    // in the midst of work sheets still come and go
    if (state.work && this.#before?.place === place) return;
    const outcome =
      this.#before?.place === place ? newOutcome(this.#before.state, state) : undefined;
    this.#before = { place, state };
    if (outcome === undefined) return;
    requestAnimationFrame(() => bringToSight(this, outcome)); // the views within render after this one
  }

  protected override render() {
    const { atHand, places, elsewhere } = this.bench;
    const { state } = atHand;
    const isBench = this.asked.part === 'bench';
    this.#benchAsked ||= isBench;
    return html`
      ${
        isBench
          ? html`<a class="skip" href="#next">Skip to what is next</a>`
          : html`<a class="skip" href="#logbook-heading" @click=${this.#skip}
              >Skip to the ${CALLED[this.asked.part]}</a
            >`
      }
      <header class="top">
        <h1>Lodebench</h1>
        ${this.#partLinks()}
        <board-strip
          ?hidden=${!isBench}
          .states=${places.map((place) => place.state)}
          .atHand=${places.indexOf(atHand)}
        ></board-strip>
      </header>
      <newer-version-notice .newer=${this.newer}></newer-version-notice>
      <keeping-notice .keeping=${this.keeping}></keeping-notice>
      <div class="part" ?hidden=${!isBench}>${this.#benchAsked ? this.#benchPart() : nothing}</div>
      ${
        isBench
          ? nothing
          : html`<main class="logbook">
              ${elsewhere && this.asked.part !== 'report' ? this.#heldElsewhere(elsewhere) : nothing}
              ${this.#logbookPart(this.asked)}
            </main>`
      }
      <footer>
        <p>
          <strong>Before you rely on it:</strong> a magnetic heading alone must not be relied on
          where an error can hurt someone. Local rules and qualified surveyors decide what a survey
          needs. A calibration holds only for the battery, the housing and the temperature it was
          made with.
        </p>
        <p class="note">Lodebench ${this.newer.current}</p>
      </footer>
      ${this.#writeDialog(state)}
    `;
  }

  #benchPart() {
    const { atHand, kinds, elsewhere } = this.bench;
    const { state } = atHand;
    if (elsewhere)
      return html`<main id="next" tabindex="-1">${this.#heldElsewhere(elsewhere)}</main>`;
    return html`<path-strip place=${nextStep(state).place}></path-strip>
      <main>
        <next-card .state=${state} .kinds=${kinds}></next-card>
        ${keyed(atHand, html`<bench-sheets .bench=${this.bench} .state=${state}></bench-sheets>`)}
      </main>`;
  }

  #heldElsewhere(elsewhere: 'held' | 'free') {
    return html`<held-elsewhere
      .bench=${this.bench}
      .elsewhere=${elsewhere}
      .atLogbook=${this.asked.part === 'logbook'}
    ></held-elsewhere>`;
  }

  #partLinks() {
    const link = (part: PagePart['part'], words: string) =>
      html`<li>
        <a href="#${part}" aria-current=${this.asked.part === part ? 'page' : nothing}>${words}</a>
      </li>`;
    return html`<nav class="parts" aria-label="Parts of the page">
      <ul>
        ${link('bench', 'At the bench')} ${link('logbook', 'Logbook')}
        ${link('course', 'Check courses')} ${link('workshop', 'Workshop')}
      </ul>
    </nav>`;
  }

  #logbookPart(asked: PagePart) {
    if (asked.part === 'bench') return nothing;
    const what = asked.part;
    switch (this.loads[what]) {
      case 'done':
        return this.#loadedPart(asked);
      case 'failed':
        return html`<h2 id="logbook-heading" tabindex="-1">
            The ${CALLED[what]} could not be shown
          </h2>
          <p>
            This part of the page could not be loaded. What is in the logbook is safe. See that the
            place this page came from can be reached, then
            <button type="button" @click=${() => this.#showPart()}>Try again</button>
          </p>`;
      default:
        return html`<h2 id="logbook-heading" tabindex="-1">${titleOf(asked)}</h2>
          <p>Opening the ${CALLED[what]}…</p>`;
    }
  }

  #loadedPart(asked: PagePart & { part: LoadedPart }) {
    switch (asked.part) {
      case 'logbook':
        return html`<logbook-page .bench=${this.bench} .keeping=${this.keeping}></logbook-page>`;
      case 'report':
        return html`<report-page
          .bench=${this.bench}
          .serial=${asked.serial}
          .calibration=${asked.calibration}
          .program=${this.newer.current}
        ></report-page>`;
      case 'course':
        return html`<check-course-page
          .bench=${this.bench}
          .paper=${asked.paper}
        ></check-course-page>`;
      case 'workshop':
        return html`<workshop-page
          .bench=${this.bench}
          .paper=${asked.paper}
          .kit=${asked.kit}
          .program=${this.newer.current}
        ></workshop-page>`;
    }
  }

  /** The address asks for another part, or another page of the logbook. */
  #go = async () => {
    const before = this.asked;
    this.asked = partOf(location.hash);
    await this.#showPart();
    if (before.part === 'bench' && this.asked.part === 'bench') return; // a skip within the bench
    await this.updateComplete;
    await this.querySelector<View>(
      'main.logbook > :is(logbook-page, report-page, check-course-page, workshop-page)',
    )?.updateComplete;
    scrollTo({ top: 0, behavior: 'instant' });
    const heading = this.asked.part === 'bench' ? '#next' : '#logbook-heading';
    this.querySelector<HTMLElement>(heading)?.focus({ preventScroll: true });
  };

  /** Sees that what the part asked for shows is loaded and read, both at once. */
  async #showPart(): Promise<void> {
    const { asked } = this;
    document.title = pageTitle(asked);
    const reading = this.bench.logbook.open('serial' in asked ? asked.serial : undefined);
    await Promise.all([asked.part === 'bench' ? undefined : this.#load(asked.part), reading]);
  }

  async #load(part: LoadedPart): Promise<void> {
    if (this.loads[part] === 'done') return;
    this.loads = { ...this.loads, [part]: 'under way' };
    try {
      await LOADING[part]();
      this.loads = { ...this.loads, [part]: 'done' };
    } catch (error) {
      console.warn(`The ${CALLED[part]} could not be loaded:`, error);
      this.loads = { ...this.loads, [part]: 'failed' };
    }
  }

  #skip = (event: Event) => {
    event.preventDefault(); // the address says which page of the logbook is open
    this.querySelector<HTMLElement>('#logbook-heading')?.focus();
  };

  #writeDialog({ history }: PlaceState) {
    return html`<dialog
      class="write"
      aria-labelledby="write-heading"
      @close=${() => (this.shown = undefined)}
    >
      ${this.shown ? sealingForm(sealingWords(history), 'write-heading', this.#wish) : nothing}
    </dialog>`;
  }

  #wish = (write: boolean) => {
    if (write && this.shown) void this.shown.place.write(this.shown.id);
  };

  #intention = ({ intention }: IntentionEvent) => {
    if (intention === 'write') {
      const place = this.bench.atHand;
      const { calibration } = place.state.history;
      const ready = calibration && writable(calibration);
      if (!ready) return;
      this.shown = { place, id: ready.id };
      void this.updateComplete.then(() => askToSeal(this.dialog));
    } else if (intention === 'see assembly') leadTo(this, 'assembly-view');
    else void this.bench.atHand.perform(intention);
  };

  #tolerance = ({ tolerance }: ToleranceEvent) => {
    void this.bench.atHand.chooseTolerance(tolerance);
  };

  #mark = ({ wish }: MarkEvent) => {
    void this.bench.atHand.mark(wish);
  };

  #adjust = ({ change }: AdjustEvent) => {
    void this.bench.adjustSimulator(change);
  };

  /** Nothing is awaited here: the browser lets a person choose only in the gesture itself. */
  #link = ({ kind, address }: LinkEvent) => {
    if (kind === 'simulated') {
      const simulator = this.simulator?.typed();
      if (simulator) void this.bench.link(kind, { simulator });
    } else void this.bench.link(kind, { ...(address !== undefined && { address }) });
  };

  #askThere = ({ index, intention }: AskThereEvent) => {
    void this.bench.places[index]?.perform(intention);
  };

  #pick = ({ index }: PickEvent) => {
    const place = index === undefined ? undefined : this.bench.places[index];
    if (place) this.bench.pick(place);
    else this.bench.linkAnother();
  };
}

/** An import each: of two in one expression the bundler would take the style of one for that of the other. */
const LOADING = {
  logbook: () => import('./logbook-page.ts'),
  report: () => import('./report-page.ts'),
  course: () => import('./check-course-page.ts'),
  workshop: () => import('./workshop-page.ts'),
};

/** A part of the page that is loaded when it is asked for first. */
type LoadedPart = keyof typeof LOADING;

/** What each is called in the midst of a sentence. */
const CALLED: Readonly<Record<PagePart['part'], string>> = {
  bench: 'bench',
  logbook: 'logbook',
  report: 'report',
  course: 'check courses',
  workshop: 'workshop',
};

/** Begins to load what the address asks for, before there is a page to show it; whether it could is seen when it is shown. */
export function loadAhead(): void {
  const { part } = partOf(location.hash);
  if (part !== 'bench') LOADING[part]().catch(() => {}); // showing it asks again, and says what is wrong
}

/** What the browser calls the page, and a file that it is printed to. */
const pageTitle = (part: PagePart): string =>
  part.part === 'bench' ? 'Lodebench' : `${titleOf(part)} · Lodebench`;

function titleOf(part: PagePart & { part: LoadedPart }): string {
  switch (part.part) {
    case 'logbook':
      return 'Logbook';
    case 'report':
      return `Calibration report ${part.serial}`;
    case 'course':
      return 'Check courses';
    case 'workshop':
      return 'Workshop';
  }
}
