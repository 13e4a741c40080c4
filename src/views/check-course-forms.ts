import { html, nothing } from 'lit';
import { customElement, property, state } from 'lit/decorators.js';
import type { CourseDesk } from '../steps/course/course-desk.ts';
import {
  EMPTY_LAYOUT,
  layoutForm,
  layoutOf,
  termsForm,
  termsOf,
  type LayoutForm,
  type TermsForm,
} from '../steps/course/course-forms.ts';
import {
  instrumentKey,
  instrumentsOf,
  type CourseLayout,
  type CourseState,
} from '../steps/course/course-state.ts';
import type { BenchSite } from '../steps/site/bench-site.ts';
import { View } from './view.ts';

/** What is to be put right in a form, a sentence each. */
export const problemList = (problems: readonly string[]) =>
  problems.length === 0
    ? nothing
    : html`<div role="alert">
        <ul class="problems">
          ${problems.map((each) => html`<li>${each}</li>`)}
        </ul>
      </div>`;

/** A text box throughout: a number box drops what it cannot read, and decimal commas with it. */
export const field = (
  label: string,
  value: string,
  set: (value: string) => void,
  mode: 'text' | 'decimal' = 'decimal',
) =>
  html`<label class="field"
    >${label}
    <input
      type="text"
      inputmode=${mode}
      autocomplete="off"
      maxlength="400"
      .value=${value}
      @change=${(event: Event) => set((event.target as HTMLInputElement).value)}
    />
  </label>`;

/** Lays out a course, or changes one. */
@customElement('check-course-layout')
export class CheckCourseLayout extends View {
  @property({ attribute: false }) desk!: CourseDesk;
  @property({ attribute: false }) site!: BenchSite;
  /** What is changed; a new one without it. */
  @property({ attribute: false }) laidOut: CourseLayout | undefined;
  @property({ attribute: false }) done!: (layout: CourseLayout) => void;
  @state() private typed: LayoutForm | undefined;
  @state() private problems: readonly string[] = [];

  get #form(): LayoutForm {
    return this.typed ?? (this.laidOut ? layoutForm(this.laidOut) : EMPTY_LAYOUT);
  }

  protected override render() {
    const form = this.#form;
    return html`<form class="course-form" novalidate @submit=${this.#submit}>
      ${field('Name of the course', form.name, (name) => this.#set({ name }), 'text')}
      <label class="field course-legs"
        >Legs, a line each: from, to
        <textarea
          rows="5"
          spellcheck="false"
          .value=${form.legs}
          @change=${(event: Event) => {
            this.#set({ legs: (event.target as HTMLTextAreaElement).value });
          }}
        ></textarea>
      </label>
      <p class="note">
        For example “A, B”. Where more is known of a leg, go on with commas: its azimuth, the
        standard uncertainty of that, the north it counts from (magnetic, true or grid), its
        inclination and the standard uncertainty of that, in degrees: “A, B, 123.4, 0.1, true”.
        Every station in two legs at least; legs in unlike directions.
      </p>
      <div class="fields">
        ${field('How often each leg is shot from either end', form.each, (each) => this.#set({ each }))}
        ${field('Latitude, °, north positive', form.latitude, (latitude) => this.#set({ latitude }))}
        ${field('Longitude, °, east positive', form.longitude, (longitude) => this.#set({ longitude }))}
        ${field('Height, m', form.height, (height) => this.#set({ height }))}
        ${field('Convergence, °, grid north east of true positive', form.convergence, (convergence) => this.#set({ convergence }))}
      </div>
      <p class="note">
        The place is wanted where a bearing counts from true or grid north, and to compare azimuths
        over years: the declination of each day is taken from the World Magnetic Model there.
        Convergence is wanted for grid north alone.
      </p>
      ${problemList(this.problems)}
      <div class="offers">
        <button type="submit" class="main">
          ${this.laidOut ? 'Keep the changes' : 'Keep this course'}
        </button>
        <button type="button" @click=${this.#here}>The place where the bench stands</button>
      </div>
    </form>`;
  }

  #here = async (): Promise<void> => {
    const place = await this.desk.placeOfBench();
    if (place) {
      const { latitude, longitude, height } = place;
      this.#set({
        latitude: String(latitude),
        longitude: String(longitude),
        height: String(height),
      });
    } else {
      this.problems = ['It is not known where the bench stands: keep it under “Is this place clean?” at the bench.']; // prettier-ignore
    }
  };

  #set(change: Partial<LayoutForm>) {
    this.typed = { ...this.#form, ...change };
  }

  #submit = (event: SubmitEvent) => {
    event.preventDefault();
    const read = layoutOf(this.#form, this.laidOut);
    this.problems = read.ok ? [] : read.problems;
    if (!read.ok) return;
    this.typed = undefined;
    this.done(read.value);
  };
}

/** What a course is settled by. */
@customElement('check-course-terms')
export class CheckCourseTerms extends View {
  @property({ attribute: false }) desk!: CourseDesk;
  @property({ attribute: false }) course!: CourseState;
  @state() private typed: TermsForm | undefined;
  @state() private problems: readonly string[] = [];

  get #form(): TermsForm {
    return this.typed ?? termsForm(this.course.terms);
  }

  get #instruments() {
    const { outing } = this.desk;
    return outing ? instrumentsOf(outing) : [];
  }

  protected override render() {
    const form = this.#form;
    return html`<form class="course-form" novalidate @submit=${this.#submit}>
      <p>
        Azimuths want two things to be said: where north is (a known bearing of a leg, or an
        instrument that is taken as right), and where the field is not turned. Without them the
        instruments are only held against each other, and that is said.
      </p>
      <div class="fields">
        <label class="field"
          >Where the field is not turned
          <select
            @change=${(event: Event) => {
              const stations = (event.target as HTMLSelectElement).value as TermsForm['stations'];
              this.#set({ stations });
            }}
          >
            ${(
              [
                ['nothing', 'Nothing is known of it'],
                ['clean', 'At clean stations'],
                ['zero mean', 'On the mean of all stations'],
              ] as const
            ).map(
              ([value, label]) =>
                html`<option value=${value} .selected=${form.stations === value}>${label}</option>`,
            )}
          </select>
        </label>
        ${
          form.stations === 'clean'
            ? field('Clean stations, with commas between', form.clean, (clean) => this.#set({ clean }), 'text') // prettier-ignore
            : nothing
        }
        ${
          form.stations === 'nothing'
            ? nothing
            : field('Give or take, ° (standard uncertainty)', form.sigma, (sigma) => this.#set({ sigma })) // prettier-ignore
        }
        <label class="field"
          >Reference instrument
          <select
            @change=${(event: Event) => {
              this.#set({ reference: (event.target as HTMLSelectElement).value });
            }}
          >
            <option value="" .selected=${form.reference === ''}>None</option>
            ${this.#instruments.map(
              (each) =>
                html`<option
                  value=${instrumentKey(each)}
                  .selected=${form.reference === instrumentKey(each)}
                >
                  ${this.desk.nameOf(each)}
                </option>`,
            )}
          </select>
        </label>
        ${field('An instrument may be off by, °', form.tolerance, (tolerance) => this.#set({ tolerance }))}
      </div>
      ${
        form.reference === ''
          ? nothing
          : html`<label class="choice"
                ><input
                  type="checkbox"
                  .checked=${form.isRight}
                  @change=${(event: Event) => {
                    this.#set({ isRight: (event.target as HTMLInputElement).checked });
                  }}
                />
                It is taken as right</label
              >
              ${form.isRight ? field('Right to, ° (standard uncertainty)', form.rightTo, (rightTo) => this.#set({ rightTo })) : nothing}
              <p class="note">
                The reference is shot all through the day: its shots tell how the field changed with
                time, which is taken off the others.
              </p>`
      }
      ${problemList(this.problems)}
      <div class="offers"><button type="submit">Keep this</button></div>
    </form>`;
  }

  #set(change: Partial<TermsForm>) {
    this.typed = { ...this.#form, ...change };
  }

  #submit = (event: SubmitEvent) => {
    event.preventDefault();
    const { terms, layout } = this.course;
    const known = terms.reference
      ? [...this.#instruments, terms.reference.instrument]
      : this.#instruments;
    const read = termsOf(this.#form, layout, known);
    this.problems = read.ok ? [] : read.problems;
    if (!read.ok) return;
    this.typed = undefined;
    void this.desk.setTerms(read.value);
  };
}

declare global {
  interface HTMLElementTagNameMap {
    'check-course-layout': CheckCourseLayout;
    'check-course-terms': CheckCourseTerms;
  }
}
