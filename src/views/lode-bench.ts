import { html, nothing, type PropertyValues } from 'lit';
import { customElement, property, query } from 'lit/decorators.js';
import { keyed } from 'lit/directives/keyed.js';
import type { Bench } from '../steps/bench.ts';
import type { NewerVersion } from '../steps/newer-version.ts';
import { nextStep, WAY } from '../steps/next-step.ts';
import type { BenchPlace } from '../steps/place.ts';
import type { PlaceState } from '../steps/place-state.ts';
import { sealingWords } from '../steps/sealing-words.ts';
import { writable } from '../steps/calibration-state.ts';
import { bringToSight, newOutcome } from './bring-to-sight.ts';
import './board-strip.ts';
import type { PickEvent } from './board-strip.ts';
import './board-view.ts';
import './care-sheets.ts';
import './conformance-view.ts';
import './judgement-view.ts';
import type { LinkEvent } from './link-kinds.ts';
import './next-card.ts';
import type { IntentionEvent } from './next-card.ts';
import './newer-version-notice.ts';
import './path-strip.ts';
import './proof-view.ts';
import './readings-view.ts';
import type { MarkEvent } from './readings-view.ts';
import './rescue-view.ts';
import { sealingForm } from './sealing-form.ts';
import './sealing-view.ts';
import './simulator-view.ts';
import type { AdjustEvent, SimulatorView } from './simulator-view.ts';
import type { ToleranceEvent } from './tolerance-choice.ts';
import { View } from './view.ts';
import './ways-out.ts';
import './wire-view.ts';

/** The whole page. It hears the bench and passes on what a person asks. */
@customElement('lode-bench')
export class LodeBench extends View {
  @property({ attribute: false }) bench!: Bench;
  @property({ attribute: false }) newer!: NewerVersion;
  @query('dialog.write') private dialog!: HTMLDialogElement;
  @query('simulator-view') private simulator!: SimulatorView | null;
  #unsubscribe: (() => void) | undefined;
  /** What a person was asked about writing, and the place where its board is. */
  #shown: { place: BenchPlace; id: string } | undefined;
  /** What was rendered last while no work was under way, and of which place. */
  #before: { place: BenchPlace; state: PlaceState } | undefined;

  override connectedCallback(): void {
    super.connectedCallback();
    this.#unsubscribe = this.bench.subscribe(() => this.requestUpdate());
    this.addEventListener('intention', this.#intention as EventListener);
    this.addEventListener('mark', this.#mark as EventListener);
    this.addEventListener('tolerance', this.#tolerance as EventListener);
    this.addEventListener('adjust', this.#adjust as EventListener);
    this.addEventListener('link-board', this.#link as EventListener);
    this.addEventListener('pick', this.#pick as EventListener);
  }

  override disconnectedCallback(): void {
    super.disconnectedCallback();
    this.#unsubscribe?.();
    this.removeEventListener('intention', this.#intention as EventListener);
    this.removeEventListener('mark', this.#mark as EventListener);
    this.removeEventListener('tolerance', this.#tolerance as EventListener);
    this.removeEventListener('adjust', this.#adjust as EventListener);
    this.removeEventListener('link-board', this.#link as EventListener);
    this.removeEventListener('pick', this.#pick as EventListener);
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
    const { atHand, places, kinds } = this.bench;
    const { state } = atHand;
    const { place } = nextStep(state);
    return html`
      <a class="skip" href="#next">Skip to what is next</a>
      <header class="top">
        <h1>Lodebench</h1>
        <board-strip
          .states=${places.map((place) => place.state)}
          .atHand=${places.indexOf(atHand)}
        ></board-strip>
      </header>
      <newer-version-notice .newer=${this.newer}></newer-version-notice>
      <path-strip place=${place}></path-strip>
      <ways-out .state=${state}></ways-out>
      <main>
        <next-card .state=${state} .kinds=${kinds}></next-card>
        ${keyed(atHand, this.#sheets(state))}
      </main>
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

  #sheets(state: PlaceState) {
    const { history, link } = state;
    const { calibration } = history;
    const { place } = nextStep(state);
    const busy = state.work !== undefined;
    const linked = link.state === 'linked';
    const { rescue } = this.bench.atHand;
    const isDown = link.state === 'none' || (link.state === 'lost' && !link.returns);
    return html`<div class="sheets">
      ${
        history.identity || rescue.isPossible
          ? this.#sheet(
              'What is the matter with it?',
              rescue.isPossible && isDown,
              html`<rescue-view .rescue=${rescue} .state=${state}></rescue-view>`,
            )
          : nothing
      }
      ${
        !history.identity
          ? html`<section class="sheet way">
              <h2>The way</h2>
              <ol>
                ${WAY.map(
                  ({ place, words }) =>
                    html`<li>
                      <strong>${place}.</strong>
                      ${words}
                    </li>`,
                )}
              </ol>
            </section>`
          : nothing
      }
      ${
        calibration?.sealed
          ? this.#sheet(
              'The proof',
              ['Prove', 'Done'].includes(place),
              html`<proof-view .state=${state}></proof-view>`,
            )
          : nothing
      }
      ${
        calibration?.staged
          ? this.#sheet(
              'Written to the board',
              ['Seal', 'Prove', 'Done'].includes(place) || calibration.reverted !== undefined,
              html`<sealing-view .history=${history}></sealing-view>`,
            )
          : nothing
      }
      ${
        calibration?.fit || calibration?.refusal
          ? this.#sheet(
              'Is it good enough?',
              place === 'Judge',
              html`<judgement-view .history=${history}></judgement-view>`,
            )
          : nothing
      }
      ${
        calibration && !(calibration.chosen && calibration.readings.length === 0)
          ? this.#sheet(
              'Readings',
              place === 'Take' || place === 'Judge',
              html`<readings-view
                .calibration=${calibration}
                .identity=${history.identity}
                .undo=${state.undo}
                .busy=${busy || !linked}
              ></readings-view>`,
            )
          : nothing
      }
      ${
        history.identity
          ? this.#sheet(
              'The board',
              place === 'Look',
              html`<board-view .state=${state}></board-view>`,
            )
          : nothing
      }
      <care-sheets .care=${this.bench.atHand.care} .state=${state}></care-sheets>
      ${
        state.simulator
          ? this.#sheet(
              'How the simulated board is set',
              false,
              html`<simulator-view
                .settings=${state.simulator}
                .linked=${link.state !== 'none'}
                .busy=${busy}
              ></simulator-view>`,
            )
          : nothing
      }
      ${
        history.identity
          ? this.#sheet(
              'The lines on the wire',
              false,
              html`<wire-view
                .log=${this.bench.atHand.wire}
                .send=${this.#send}
                .linked=${linked}
                .name=${`wire ${history.identity.serial}`}
              ></wire-view>`,
            )
          : nothing
      }
      ${
        history.identity
          ? this.#sheet(
              'Does it speak the protocol?',
              false,
              html`<conformance-view
                .check=${this.bench.atHand.check}
                .state=${state}
              ></conformance-view>`,
            )
          : nothing
      }
    </div>`;
  }

  #sheet(title: string, open: boolean, content: unknown) {
    return html`<details class="sheet" ?open=${open}>
      <summary><h2>${title}</h2></summary>
      ${content}
    </details>`;
  }

  #writeDialog({ history }: PlaceState) {
    return html`<dialog class="write" aria-labelledby="write-heading">
      ${sealingForm(sealingWords(history), 'write-heading', this.#wish)}
    </dialog>`;
  }

  #wish = (write: boolean) => {
    if (write && this.#shown) void this.#shown.place.write(this.#shown.id);
  };

  #intention = ({ intention }: IntentionEvent) => {
    if (intention === 'write') {
      const place = this.bench.atHand;
      const { calibration } = place.state.history;
      const ready = calibration && writable(calibration);
      this.#shown = ready && { place, id: ready.id };
      this.dialog.showModal();
    } else void this.bench.atHand.perform(intention);
  };

  #tolerance = ({ tolerance }: ToleranceEvent) => {
    void this.bench.atHand.chooseTolerance(tolerance);
  };

  #mark = ({ reading, reason }: MarkEvent) => {
    void (reason === undefined
      ? this.bench.atHand.takeBack(reading)
      : this.bench.atHand.setAside(reading, reason));
  };

  #send = (line: string) => this.bench.atHand.sendByHand(line);

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

  #pick = ({ index }: PickEvent) => {
    const place = index === undefined ? undefined : this.bench.places[index];
    if (place) this.bench.pick(place);
    else this.bench.linkAnother();
  };
}
