import { html, nothing } from 'lit';
import { customElement, property, state } from 'lit/decorators.js';
import { dayOf } from '../steps/time-words.ts';
import { ORDINARY_TOLERANCE } from '../steps/tolerance.ts';
import type { WorkshopTerms } from '../steps/workshop/workshop-desk.ts';
import './tolerance-choice.ts';
import type { ToleranceEvent } from './tolerance-choice.ts';
import { View } from './view.ts';

/** Asks what a workshop is called, where and when it is held, and how true its kits are to be. */
@customElement('workshop-terms')
export class WorkshopTermsForm extends View {
  /** What they are now; absent for a new workshop. */
  @property({ attribute: false }) terms: WorkshopTerms | undefined;
  @property({ attribute: false }) today!: Date;
  /** What the button says. */
  @property() offer!: string;
  /** Writes them. */
  @property({ attribute: false }) send!: (terms: WorkshopTerms) => Promise<unknown>;
  @state() private tolerance: WorkshopTerms['tolerance'] | undefined;
  @state() private isWanting = false;

  protected override render() {
    const day = this.terms?.day ?? dayOf(this.today);
    const name = this.terms?.name ?? '';
    return html`<form
      class="workshop-form"
      @submit=${this.#submit}
      @tolerance=${(event: ToleranceEvent) => {
        event.stopPropagation(); // it is of the workshop, and of no calibration
        this.tolerance = event.tolerance;
      }}
    >
      <div class="fields">
        <label class="field"
          >What it is called
          <input type="text" name="name" maxlength="80" autocomplete="off" .value=${name} />
        </label>
        <label class="field"
          >Where it is held
          <input
            type="text"
            name="place"
            maxlength="120"
            autocomplete="off"
            .value=${this.terms?.place ?? ''}
          />
        </label>
        <label class="field">On which day <input type="date" name="day" .value=${day} /></label>
      </div>
      <tolerance-choice
        .tolerance=${this.tolerance ?? this.terms?.tolerance ?? ORDINARY_TOLERANCE}
      ></tolerance-choice>
      <p class="offers"><button type="submit">${this.offer}</button></p>
      <p role="alert">${this.isWanting ? 'Give it a name first, and a day.' : nothing}</p>
    </form>`;
  }

  #submit = async (event: SubmitEvent) => {
    event.preventDefault();
    const given = new FormData(event.target as HTMLFormElement);
    const text = (name: string) => String(given.get(name) ?? '').trim();
    const [name, place, day] = ['name', 'place', 'day'].map(text) as [string, string, string];
    this.isWanting = name === '' || day === '';
    if (this.isWanting) return;
    const tolerance = this.tolerance ?? this.terms?.tolerance ?? ORDINARY_TOLERANCE;
    await this.send({ name, place, day, tolerance });
  };
}

declare global {
  interface HTMLElementTagNameMap {
    'workshop-terms': WorkshopTermsForm;
  }
}
