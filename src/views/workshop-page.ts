import { html, nothing, type PropertyValues } from 'lit';
import { customElement, property, state } from 'lit/decorators.js';
import type { Bench } from '../steps/bench.ts';
import { messageOf } from '../steps/bench-words.ts';
import { WorkshopDesk, type WorkshopNow } from '../steps/workshop/workshop-desk.ts';
import { workshopAddress } from './page-part.ts';
import { View } from './view.ts';
import './workshop-builder.ts';
import { bringInWorkshop, takeOutWorkshop } from './workshop-files.ts';
import './workshop-kits.ts';
import './workshop-list.ts';
import './workshop-page.css';
import './workshop-results.ts';
import './workshop-roster.ts';
import './workshop-sounds.ts';
import './workshop-terms.ts';
import { workshopTold } from './workshop-told.ts';

/** The workshop part of the page: the list of all, the tutor's page of one, or the builder's page of a kit. */
@customElement('workshop-page')
export class WorkshopPage extends View {
  @property({ attribute: false }) bench!: Bench;
  /** The workshop whose page is asked for; the list of all where none is. */
  @property() paper: string | undefined;
  /** The kit of it whose page is asked for. */
  @property() kit: string | undefined;
  /** Version of Lodebench. */
  @property() program!: string;
  /** Why the roster does not fill the screen. */
  @state() private unfilled = '';
  #atHeading = false;

  get #workshops(): WorkshopDesk {
    const desk = DESKS.get(this.bench) ?? new WorkshopDesk(this.bench);
    DESKS.set(this.bench, desk);
    return desk;
  }

  protected override follows() {
    return [this.#workshops];
  }

  protected override willUpdate(changes: PropertyValues): void {
    super.willUpdate(changes);
    if (!this.hasUpdated || changes.has('paper')) void this.#workshops.open(this.paper);
    this.#atHeading = document.activeElement?.id === HEADING;
  }

  /** The heading that had the focus gives way to another once the workshop was read; that has it then. */
  protected override updated(changes: PropertyValues): void {
    super.updated(changes);
    if (!this.#atHeading) return;
    queueMicrotask(() => {
      const { activeElement } = document;
      if (activeElement !== document.body) return;
      this.querySelector<HTMLElement>(`#${HEADING}`)?.focus({ preventScroll: true });
    });
  }

  protected override render() {
    const desk = this.#workshops;
    const today = this.bench.logbook.now();
    if (this.paper === undefined) {
      return html`<workshop-list .desk=${desk} .today=${today}></workshop-list>`;
    }
    const { opened } = desk.state;
    const now = opened?.paper === this.paper ? opened.now : undefined;
    if (!now) {
      const isRead = opened?.paper === this.paper && opened.isRead;
      return html`<a class="way-back" href=${workshopAddress()}>All workshops</a>
        <h2 id="logbook-heading" tabindex="-1">Workshop</h2>
        <p role="status">${isRead ? MISSING : 'Reading the logbook…'}</p>
        ${workshopTold(desk)}`;
    }
    return html`${this.kit === undefined ? this.#tutor(desk, now, today) : this.#builder(desk, now)}`;
  }

  #tutor(desk: WorkshopDesk, now: WorkshopNow, today: Date) {
    return html`<workshop-roster .now=${now}></workshop-roster>
      ${workshopTold(desk)}
      <p class="workshop-ways">
        <a class="way-back" href=${workshopAddress()}>All workshops</a>
        ${
          document.fullscreenEnabled
            ? html`<button type="button" class="quiet" @click=${this.#fill}>
                Fill the screen with the roster
              </button>`
            : nothing
        }
      </p>
      <p role="alert">${this.unfilled}</p>
      <div class="workshop-sheets">
        <workshop-kits .desk=${desk} .now=${now}></workshop-kits>
        <workshop-sounds .bench=${this.bench} .kits=${now.kits}></workshop-sounds>
        <section class="sheet" aria-labelledby="terms-heading">
          <h3 id="terms-heading">Name, place, day and tolerance</h3>
          <workshop-terms
            .terms=${now.terms}
            .today=${today}
            .send=${(terms: WorkshopNow['terms']) => desk.setTerms(terms)}
            offer="Change the workshop"
          ></workshop-terms>
        </section>
        ${takeOutWorkshop(desk)} ${bringInWorkshop(desk)}
      </div>
      <workshop-results
        .desk=${desk}
        .now=${now}
        .today=${today}
        .program=${this.program}
      ></workshop-results>`;
  }

  #builder(desk: WorkshopDesk, now: WorkshopNow) {
    const row = [...now.kits, ...now.takenOff].find(
      ({ kit, alias }) => kit === this.kit || alias.includes(this.kit!),
    );
    return row
      ? html`<workshop-builder
            .bench=${this.bench}
            .desk=${desk}
            .now=${now}
            .row=${row}
          ></workshop-builder>
          ${workshopTold(desk)}`
      : html`<a class="way-back" href=${workshopAddress(now.paper)}
            ><span>All kits of <bdi>${now.terms.name}</bdi></span></a
          >
          <h2 id="logbook-heading" tabindex="-1">There is no such kit</h2>
          <p>The roster of <bdi>${now.terms.name}</bdi> has no kit of this address.</p> `;
  }

  #fill = (): void => {
    this.unfilled = '';
    this.querySelector('workshop-roster')
      ?.requestFullscreen()
      .catch((error: unknown) => {
        this.unfilled = `The browser did not let the roster fill the screen: ${messageOf(error)}`;
      });
  };
}

/** One for each bench: it follows the bench for good, and this part of the page comes and goes. */
const DESKS = new WeakMap<Bench, WorkshopDesk>();

/** What the page brings into focus when this part of it is asked for. */
const HEADING = 'logbook-heading';

const MISSING =
  'The logbook has no workshop of this address. It may be in that of another computer: take it out there and bring it in here.';

declare global {
  interface HTMLElementTagNameMap {
    'workshop-page': WorkshopPage;
  }
}
