import { html, nothing } from 'lit';
import { customElement, property, state } from 'lit/decorators.js';
import { lineWords, rollWords } from '../steps/attitude-words.ts';
import type { Bench } from '../steps/bench.ts';
import { openSlots } from '../steps/calibration-state.ts';
import { openCheckPlaces } from '../steps/checks/check-history.ts';
import { CHECK_NAMES } from '../steps/checks/check-names.ts';
import { placeWords } from '../steps/checks/place-words.ts';
import { isAt, offsetTo } from '../steps/collecting/aim-offset.ts';
import { sourceWords } from '../steps/collecting/aim-words.ts';
import { waitingFor, type Waiting } from '../steps/collecting/by-itself.ts';
import { ROLL_WITHIN } from '../steps/collecting/collecting-choices.ts';
import type { Look } from '../steps/collecting/live-attitude.ts';
import { turnedByPerson } from '../steps/collecting/own-hand.ts';
import { wantedAim, wantedWords } from '../steps/collecting/wanted-aim.ts';
import { leftWords, readingsOf } from '../steps/collecting/forecasting.ts';
import { stillnessWords } from '../steps/collecting/stillness.ts';
import type { PlaceState } from '../steps/place-state.ts';
import { isPlanCut } from '../steps/customary-plan.ts';
import { shownAim } from '../steps/shown-aim.ts';
import './aim-picture.ts';
import './collecting-choices.ts';
import './collecting-view.css';
import './own-hand-view.ts';
import { shape } from './shapes.ts';
import { View } from './view.ts';

/**
 * Collecting without looking: the aim wanted and the aim now, whether the board is held still, how many readings are
 * left. The board is looked at only while this can be seen.
 */
@customElement('collecting-view')
export class CollectingView extends View {
  @property({ attribute: false }) bench!: Bench;
  @property({ attribute: false }) state!: PlaceState;
  @state() private look: Look | undefined;
  @state() private fault: string | undefined;
  /** What a screen reader is told; it changes only when something begins or ends. */
  @state() private announced = '';
  #unlook = () => {};
  readonly #seen = new IntersectionObserver((entries) => this.#watch(entries.at(-1)!));

  protected override follows() {
    return [this.bench.choices];
  }

  override connectedCallback(): void {
    super.connectedCallback();
    this.#seen.observe(this);
  }

  override disconnectedCallback(): void {
    super.disconnectedCallback();
    this.#seen.disconnect();
    this.#unlook();
    this.#unlook = () => {};
  }

  #watch({ isIntersecting }: IntersectionObserverEntry): void {
    this.#unlook();
    this.#unlook = () => {};
    if (!isIntersecting) return;
    const { attitude } = this.bench.atHand;
    const come = () => {
      this.look = attitude.look;
      this.fault = attitude.fault;
    };
    this.#unlook = attitude.subscribe(come);
    come();
  }

  protected override willUpdate(changes: Map<PropertyKey, unknown>): void {
    super.willUpdate(changes);
    const wanted = wantedAim(this.state);
    if (!wanted || !this.look) {
      this.announced = '';
      return;
    }
    const { attitude, stillness } = this.look;
    const { within } = this.bench.choices.now;
    const isThere =
      attitude !== undefined &&
      isAt(offsetTo(wanted, attitude), { line: within, roll: ROLL_WITHIN });
    this.announced = isThere && stillness.still ? 'At the aim, held still.' : '';
  }

  protected override render() {
    const { state, bench } = this;
    if (!turnedByPerson(state)) return this.#offerOwnHand();
    const wanted = wantedAim(state);
    const named = shownAim(state.history)?.aim; // as the heading of what is next has it
    const line = wanted && wantedWords(wanted, this.look?.attitude?.from);
    const { now: check } = state.history.checks;
    const left = check ? undefined : state.left;
    return html`
      ${
        wanted
          ? html`<p class="large">
                Wanted: ${lineWords(named ?? wanted)}, ${rollWords(wanted.roll)}
              </p>
              ${line ? html`<p class="note">${line}</p>` : nothing}
              <aim-picture
                .wanted=${wanted}
                .look=${this.look}
                .within=${bench.choices.now.within}
              ></aim-picture>
              ${this.#stillness()}
              <p class="unseen" role="status">${this.announced}</p>`
          : html`<p>${this.#unasked()}</p>`
      }
      ${
        state.ownHand
          ? html`<own-hand-view .place=${bench.atHand} .state=${state}></own-hand-view>`
          : nothing
      }
      ${check ? nothing : left ? this.#left(left) : this.#untilFirstFit()}
      <collecting-choices .bench=${bench}></collecting-choices>
    `;
  }

  /** Why no aim of the calibration is wanted. */
  #unasked(): string {
    const { now } = this.state.history.checks;
    if (!now) return 'No reading is asked for now.';
    const [place] = openCheckPlaces(now);
    const name = CHECK_NAMES[now.begun.terms.check];
    return place
      ? `${name}: ${placeWords(place)}.`
      : `${name}: no reading is asked for now. What to do stands under what is next.`;
  }

  #stillness() {
    const { look, fault } = this;
    if (fault !== undefined) {
      return html`<p class="held">
        ${shape('watch')}
        <span
          >How it is held cannot be shown now. ${fault} Readings can be taken all the same.</span
        >
      </p>`;
    }
    if (!look)
      return html`<p class="held">${shape('waiting')} <span>Looking at the sensors…</span></p>`;
    const { stillness, attitude } = look;
    return html`
      <p class="held">
        ${shape(stillness.still ? 'good' : 'watch')} <span>${stillnessWords(stillness)}</span>
      </p>
      ${this.#byItself(look)}
      <p class="note">${sourceWords(attitude)}</p>
    `;
  }

  #byItself(look: Look) {
    const wanted = wantedAim(this.state);
    const choices = this.bench.choices.now;
    if (!choices.byItself || !wanted) return nothing;
    const words: Record<Waiting, string> = {
      aim: look.attitude?.rotation
        ? `Taken by itself within ${choices.within}° of the aim and ${ROLL_WITHIN}° of the roll, once still for ${choices.stillFor} s.`
        : 'It cannot be taken by itself yet: whether it is at the aim shows only once a fit, or the board, gives all angles. Until then use the trigger or the button.',
      stillness: 'At the aim. Hold it still.',
      time: 'At the aim and still. Keep it so…',
      nothing: 'Taken once it has left this aim and come to the next.',
    };
    return html`<p class="held">
      ${shape('now')} <span>${words[waitingFor(look, wanted, choices)]}</span>
    </p>`;
  }

  /** Before the first provisional fit: how far off that is. */
  #untilFirstFit() {
    const { live } = this.state;
    if (!live || live.ok || live.fewest === undefined) return nothing;
    const more = live.fewest - live.readings;
    return more > 0
      ? html`<p class="left">
          ${more} more ${more === 1 ? 'reading' : 'readings'} until the first fit, from which the
          aim is worked out, and how many are left.
        </p>`
      : nothing;
  }

  #left(left: NonNullable<PlaceState['left']>) {
    const { bench, state } = this;
    const { calibration } = state.history;
    const advised = 'failed' in left ? [] : left.advised;
    const [first] = advised;
    const open = calibration ? openSlots(calibration).length : 0;
    const count = readingsOf(advised);
    return html`<p class="left">
        ${leftWords(left)}
        ${
          first
            ? html`The first of them: ${lineWords(first)}, ${rollWords(first.rolls[0]!)}.`
            : nothing
        }
      </p>
      <div class="offers">
        ${
          count > 0 && count < open
            ? this.#plan(`Take the ${count} that tell most, not the other ${open}`, () =>
                bench.atHand.followAdvice(),
              )
            : nothing
        }
        ${
          calibration && isPlanCut(calibration.plan)
            ? this.#plan('Go through the whole plan after all', () => bench.atHand.followPlan())
            : nothing
        }
      </div>`;
  }

  #plan(label: string, does: () => Promise<void>) {
    const busy = this.state.work !== undefined;
    return html`<button
      type="button"
      aria-disabled=${busy ? 'true' : 'false'}
      @click=${() => {
        if (!busy) void does();
      }}
    >
      ${label}
    </button>`;
  }

  #offerOwnHand() {
    return html`<p>
        The hand that holds this simulated board aims by itself. Turn it yourself to learn how
        collecting goes with a real one: the aim wanted and the aim now are shown, and each reading
        is yours to take.
      </p>
      <button type="button" @click=${() => void this.bench.atHand.turnMyself(true)}>
        I turn it myself
      </button>`;
  }
}
