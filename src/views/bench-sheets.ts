import { html, nothing, type PropertyValues } from 'lit';
import { customElement, property, state } from 'lit/decorators.js';
import type { Bench } from '../steps/bench.ts';
import { collectsNow } from '../steps/calibration-state.ts';
import { turnedByPerson } from '../steps/collecting/own-hand.ts';
import { nextStep, WAY } from '../steps/next-step.ts';
import type { PlaceState } from '../steps/place-state.ts';
import { shownAim } from '../steps/shown-aim.ts';
import './again-line.ts';
import './board-view.ts';
import './judgement-view.ts';
import './proof-view.ts';
import './rescue-view.ts';
import './sealing-view.ts';
import './simulator-view.ts';
import { View } from './view.ts';

/**
 * What is known of the board at hand, sheet by sheet: what matters now stands open and first, the rest can be opened. The
 * board and its care come last, two beside each other where there is room.
 */
@customElement('bench-sheets')
export class BenchSheets extends View {
  @property({ attribute: false }) bench!: Bench;
  @property({ attribute: false }) state!: PlaceState;
  /** Serial numbers of boards that were checked in this page. */
  readonly #checked = new Set<string>();
  readonly #assembled = new Set<string>();
  /** The views that are not needed for the first picture could not be loaded. */
  @state() private isWanting = false;

  protected override firstUpdated(changes: PropertyValues): void {
    super.firstUpdated(changes);
    void this.#loadRest();
  }

  /** What is already in the page fills as soon as its view is known. */
  #loadRest = async (): Promise<void> => {
    try {
      await import('./later-sheets.ts');
      this.isWanting = false;
    } catch (error) {
      console.warn('Some sheets could not be loaded:', error);
      this.isWanting = true;
    }
  };

  protected override render() {
    const { state } = this;
    const { history, link } = state;
    const { calibration } = history;
    const { place } = nextStep(state);
    const busy = state.work !== undefined;
    const linked = link.state === 'linked';
    const { rescue } = this.bench.atHand;
    const isDown = link.state === 'none' || (link.state === 'lost' && !link.returns);
    const isWrong = rescue.isPossible && isDown;
    const matter =
      history.identity || rescue.isPossible
        ? this.#sheet(
            'What is the matter with it?',
            isWrong,
            html`<rescue-view .rescue=${rescue} .state=${state}></rescue-view>`,
          )
        : nothing;
    const assembly = history.identity
      ? this.#sheet(
          'Is it put together right?',
          this.#isAssembled(history),
          html`<assembly-view .bench=${this.bench} .state=${state}></assembly-view>`,
        )
      : nothing;
    const figures =
      state.live || calibration?.fit
        ? this.#sheet(
            'The fit in figures',
            place === 'Take' || place === 'Judge',
            html`<fit-view .history=${history} .live=${state.live}></fit-view>`,
          )
        : nothing;
    // while they are taken, what is covered comes before what they make
    const readings =
      calibration && !(calibration.chosen && calibration.readings.length === 0)
        ? this.#sheet(
            'Readings',
            place === 'Take' || place === 'Judge',
            html`<readings-view
              .calibration=${calibration}
              .identity=${history.identity}
              .live=${state.live}
              .busy=${busy || !linked}
            ></readings-view>`,
          )
        : nothing;
    return html`<div class="sheets">
      ${
        this.isWanting
          ? html`<section class="sheet">
              <h2>Some sheets could not be loaded</h2>
              <p>
                They stay empty. The others work, and what is in the logbook is safe. See that the
                place this page came from can be reached, then
                <button type="button" @click=${this.#loadRest}>Try again</button>
              </p>
            </section>`
          : nothing
      }
      ${
        linked && collectsNow(history) ? this.#collecting(shownAim(history) !== undefined) : nothing
      }
      ${isWrong ? matter : nothing} ${place === 'Look' ? assembly : nothing}
      ${
        !history.identity
          ? html`<div class="sheets pair">
              <section class="sheet way">
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
              </section>
              <section class="sheet prepare">
                <h2>What to prepare</h2>
                <what-to-prepare></what-to-prepare>
              </section>
            </div>`
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
        history.inForce || history.checks.now
          ? this.#sheet(
              'Check the instrument',
              this.#isChecked(history),
              html`<check-view .bench=${this.bench} .state=${state}></check-view>`,
            )
          : nothing
      }
      ${
        calibration?.staged.length
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
      ${place === 'Take' ? [readings, figures] : [figures, readings]}
      <div class="sheets rest">
        ${place === 'Look' ? nothing : assembly}
        ${this.#sheet(
          'Is this place clean?',
          false,
          html`<site-view .bench=${this.bench} .state=${state}></site-view>`,
        )}
        ${
          history.identity
            ? this.#sheet(
                'The board',
                place === 'Look',
                html`<board-view .state=${state}></board-view>
                  <again-line
                    .desk=${this.bench.logbook}
                    .serial=${history.identity.serial}
                  ></again-line>`,
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
        ${isWrong ? nothing : matter}
      </div>
    </div>`;
  }

  /** Whether a check of the board is under way, or was in this page: what it came to stays in sight. */
  #isChecked({ identity, checks }: PlaceState['history']): boolean {
    const { serial } = identity ?? {};
    if (serial !== undefined && checks.now) this.#checked.add(serial);
    return serial !== undefined && this.#checked.has(serial);
  }

  /** The same of a check of its assembly. */
  #isAssembled({ identity, assembly }: PlaceState['history']): boolean {
    const { serial } = identity ?? {};
    if (serial !== undefined && assembly.now) this.#assembled.add(serial);
    return serial !== undefined && this.#assembled.has(serial);
  }

  /** While readings are wanted; the signals are heard whether the sheet is open or not. */
  #collecting(isAsked: boolean) {
    const { bench, state } = this;
    const byPerson = turnedByPerson(state);
    return html`<collecting-signals .bench=${bench} .state=${state}></collecting-signals>
      ${this.#sheet(
        byPerson ? 'The aim wanted, the aim now' : 'Turn it yourself',
        byPerson && isAsked,
        html`<collecting-view .bench=${bench} .state=${state}></collecting-view>`,
      )}`;
  }

  #sheet(title: string, open: boolean, content: unknown) {
    return html`<details class="sheet" ?open=${open}>
      <summary><h2>${title}</h2></summary>
      ${content}
    </details>`;
  }

  #send = (line: string) => this.bench.atHand.sendByHand(line);
}
