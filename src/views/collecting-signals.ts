import { html, nothing } from 'lit';
import { customElement, property, state } from 'lit/decorators.js';
import type { Bench } from '../steps/bench.ts';
import { openCheckPlaces } from '../steps/checks/check-history.ts';
import { placeWords } from '../steps/checks/place-words.ts';
import type { Slot } from '../steps/calibration-state.ts';
import { spoken, spokenNext } from '../steps/collecting/spoken.ts';
import type { PlaceState, Told } from '../steps/place-state.ts';
import { openPlaces } from '../steps/shown-aim.ts';
import type { TrySignalEvent } from './collecting-choices.ts';
import { ReadingSignals } from './reading-signals.ts';
import { View } from './view.ts';

/** Tells by sound, vibration and voice what becomes of readings. It shows nothing unless a sound is kept from being heard. */
@customElement('collecting-signals')
export class CollectingSignals extends View {
  @property({ attribute: false }) bench!: Bench;
  @property({ attribute: false }) state!: PlaceState;
  /** A sound was due that could not be heard. */
  @state() private missed = false;
  readonly #signals = new ReadingSignals();
  /** What was told last, and the place that was named or shown as next then: the plan moves on before that is told. */
  #told: Told | undefined;
  #trouble: PlaceState['trouble'];
  #next: Slot | undefined;
  #isFirst = true;

  override connectedCallback(): void {
    super.connectedCallback();
    for (const gesture of ['pointerdown', 'keydown']) addEventListener(gesture, this.#wake);
    document.addEventListener('try-signal', this.#try as EventListener);
  }

  override disconnectedCallback(): void {
    super.disconnectedCallback();
    for (const gesture of ['pointerdown', 'keydown']) removeEventListener(gesture, this.#wake);
    document.removeEventListener('try-signal', this.#try as EventListener);
    this.#signals.end();
  }

  protected override willUpdate(changes: Map<PropertyKey, unknown>): void {
    super.willUpdate(changes);
    const { told, trouble, history } = this.state;
    const { now: check } = history.checks;
    const [next] = check ? [] : openPlaces(history);
    const before = this.#next;
    const isNews = !this.#isFirst && told !== undefined && told !== this.#told;
    const isTrouble = !this.#isFirst && trouble !== undefined && trouble !== this.#trouble;
    [this.#told, this.#trouble] = [told, trouble];
    if (this.#isFirst || isNews) this.#next = next;
    this.#isFirst = false;
    if (isTrouble) this.#tell({ kind: 'refused', words: `${trouble.heading}.` });
    else if (isNews) {
      const [place] = check ? openCheckPlaces(check) : [];
      const words = place ? placeWords(place) : next && spokenNext(next, before);
      this.#tell(told, words && told.kind !== 'refused' ? `Next: ${words}.` : '');
    }
  }

  protected override render() {
    return this.missed
      ? html`<p class="note">
          The browser lets this page be heard only after a tap or a key: tap anywhere once.
        </p>`
      : nothing;
  }

  readonly #wake = (): void => {
    if (this.bench.choices.now.sounds) this.#signals.wake();
    this.missed = false;
  };

  readonly #try = ({ kind }: TrySignalEvent): void => {
    this.#tell({ kind, words: 'This is the voice.' });
  };

  #tell({ kind, words }: Told, next = ''): void {
    const { sounds, vibration, speech, boardTones } = this.bench.choices.now;
    // the page of the workshop sounds for all boards while it is shown, this one too
    const toldByAnother = boardTones && document.querySelector('workshop-sounds') !== null;
    if (sounds && !toldByAnother) {
      void this.#signals.sound(kind);
      this.missed = this.#signals.isMute;
    }
    if (vibration) this.#signals.shake(kind);
    if (speech) this.#signals.say(spoken([words, next].filter(Boolean).join(' ')));
  }
}
