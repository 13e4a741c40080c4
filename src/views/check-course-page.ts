import { html, nothing, type PropertyValues } from 'lit';
import { customElement, property, state } from 'lit/decorators.js';
import type { Bench } from '../steps/bench.ts';
import { courseDeskOf, type CourseDesk } from '../steps/course/course-desk.ts';
import type { CourseLayout, CourseState, CourseTerms } from '../steps/course/course-state.ts';
import { COURSE_ABOUT, COURSE_CAUTIONS, outingWords } from '../steps/course/course-words.ts';
import { BOARDS_TO_TRY } from '../steps/course/next-in-course.ts';
import { MADE_UP_COURSE, MADE_UP_TERMS } from '../steps/course/simulated-course.ts';
import { dayWords, timeWords } from '../steps/time-words.ts';
import './printed.css';
import './check-course.css';
import './check-course-forms.ts';
import { courseOutcome } from './check-course-next.ts';
import './check-course-picture.ts';
import './check-course-result.ts';
import './check-course-shots.ts';
import { courseAddress } from './page-part.ts';
import { saveFile } from './save-file.ts';
import { View } from './view.ts';

/** The check course part of the page: the list of courses, or one of them. */
@customElement('check-course-page')
export class CheckCoursePage extends View {
  @property({ attribute: false }) bench!: Bench;
  /** Id of the course whose page is open; the list of all without one. */
  @property() paper: string | undefined;
  @state() private layingOut = false;
  @state() private saved = '';
  /** The outing that was drawn last, and whether it was settled. */
  #seen: { outing: string; isSettled: boolean } | undefined;

  get #desk(): CourseDesk {
    return courseDeskOf(this.bench);
  }

  protected override follows() {
    return [this.#desk, this.bench, this.bench.logbook];
  }

  /** Whoever goes elsewhere in the page may calibrate there: readings go where they belong again. */
  override disconnectedCallback(): void {
    super.disconnectedCallback();
    void this.#desk.choose();
  }

  protected override willUpdate(changes: PropertyValues): void {
    super.willUpdate(changes);
    if (changes.has('paper') || !this.hasUpdated) void this.#desk.open(this.paper);
  }

  protected override render() {
    return this.paper === undefined ? this.#list() : this.#one();
  }

  /** Nothing may be written while another page has the bench. */
  get #readOnly(): boolean {
    return this.bench.elsewhere !== undefined;
  }

  // The list

  #list() {
    const { courses } = this.#desk.state;
    return html`
      <h2 id="logbook-heading" tabindex="-1">Check courses</h2>
      <p>${COURSE_ABOUT}</p>
      ${courseOutcome(this.#desk.state)}
      ${
        courses === undefined
          ? html`<p>Reading the logbook…</p>`
          : courses.length === 0
            ? html`<p>No course is laid out yet.</p>`
            : html`<ul class="board-list">
                ${courses.map(
                  ({ paper, name, lastTime }) =>
                    html`<li class="sheet">
                      <a href=${courseAddress(paper)}>${name ?? 'A course without a name'}</a>
                      <p class="note">Last written to ${timeWords(lastTime)}</p>
                    </li>`,
                )}
              </ul>`
      }
      ${this.#readOnly ? nothing : this.#begin()}
      <div class="sheet">
        <h3>Beforehand</h3>
        <ul>
          ${COURSE_CAUTIONS.map((each) => html`<li>${each}</li>`)}
        </ul>
      </div>
    `;
  }

  #begin() {
    return html`
      <div class="offers">
        ${
          this.layingOut
            ? nothing
            : html`<button
                type="button"
                class="main"
                @click=${() => {
                  this.layingOut = true;
                }}
              >
                Lay out a course
              </button>`
        }
        <button type="button" @click=${() => this.#layOut(MADE_UP_COURSE, MADE_UP_TERMS)}>
          Try it on a made-up course
        </button>
      </div>
      <p class="note">
        The made-up course needs no hardware: ${BOARDS_TO_TRY} simulated boards shoot it by
        themselves.
      </p>
      ${
        this.layingOut
          ? html`<section class="sheet" aria-labelledby="lay-out">
              <h3 id="lay-out">A new course</h3>
              <check-course-layout
                .desk=${this.#desk}
                .site=${this.bench.site}
                .done=${(layout: CourseLayout) => this.#layOut(layout)}
              ></check-course-layout>
            </section>`
          : nothing
      }
    `;
  }

  #layOut = async (layout: CourseLayout, terms?: CourseTerms): Promise<void> => {
    const paper = await this.#desk.layOut(layout, terms);
    if (paper === undefined) return;
    this.layingOut = false;
    location.hash = courseAddress(paper);
  };

  // One course

  #one() {
    const { opened, trouble } = this.#desk.state;
    const isOpen = opened?.paper === this.paper;
    const course = isOpen ? opened?.course : undefined;
    return html`
      <p class="course-ways"><a class="way-back" href="#course">All check courses</a></p>
      <h2 id="logbook-heading" tabindex="-1">
        ${course ? `Check course: ${course.layout.name}` : 'Check course'}
      </h2>
      ${
        course
          ? this.#whole(course)
          : html`<p role="status">
              ${
                trouble ??
                (isOpen && opened?.isRead
                  ? 'The logbook has no course of that name. It may be in the logbook of another bench: bring it in from there.'
                  : 'Reading the logbook…')
              }
            </p>`
      }
    `;
  }

  #whole(course: CourseState) {
    const desk = this.#desk;
    const { outing } = desk;
    return html`<div class="course-columns">
      ${
        this.#readOnly
          ? nothing
          : html`<check-course-next
              class="course-work"
              .bench=${this.bench}
              .desk=${desk}
              .course=${course}
            ></check-course-next>`
      }
      <div class="course-sheets">
        ${
          outing?.settled
            ? html`<check-course-result
                .desk=${desk}
                .course=${course}
                .outing=${outing}
              ></check-course-result>`
            : nothing
        }
        <section class="sheet course-work" aria-labelledby="course-plan">
          <h3 id="course-plan">The course</h3>
          <check-course-picture .course=${course} .next=${desk.nextPlace}></check-course-picture>
        </section>
        ${
          outing
            ? html`<section class="sheet course-work" aria-labelledby="course-shots">
                <h3 id="course-shots">Shots of ${dayWords(outing.day)}</h3>
                <check-course-shots
                  .bench=${this.bench}
                  .desk=${desk}
                  .course=${course}
                  .outing=${outing}
                  .readOnly=${this.#readOnly}
                ></check-course-shots>
              </section>`
            : nothing
        }
        ${
          this.#readOnly
            ? nothing
            : html`<details class="sheet course-work">
                  <summary><h3>What it is settled by</h3></summary>
                  <check-course-terms .desk=${desk} .course=${course}></check-course-terms>
                </details>
                <details class="sheet course-work">
                  <summary><h3>Change the course</h3></summary>
                  <check-course-layout
                    .desk=${desk}
                    .site=${this.bench.site}
                    .laidOut=${course.layout}
                    .done=${(layout: CourseLayout) => desk.layOutAnew(layout)}
                  ></check-course-layout>
                </details>`
        }
        ${this.#outings(course)}
        <div class="course-work">
          <div class="offers">
            <button type="button" @click=${this.#takeOut}>Take this course out</button>
          </div>
          <p class="note">
            All its outings, and the boards that shot it, as a file that another bench can bring in
            under Logbook. What both have written is then together, nothing twice.
          </p>
          <p role="status">${this.saved}</p>
        </div>
      </div>
    </div>`;
  }

  #takeOut = async (): Promise<void> => {
    const file = await this.#desk.takeOut();
    this.saved = file ? saveFile(file) : '';
  };

  /** The outings before the newest, each with what it came to. */
  #outings(course: CourseState) {
    const earlier = course.outings.slice(0, -1).reverse();
    if (earlier.length === 0) return nothing;
    return html`<section class="sheet course-work" aria-labelledby="course-outings">
      <h3 id="course-outings">Earlier outings</h3>
      ${earlier.map((outing) =>
        outing.settled
          ? html`<details>
              <summary>${outingWords(outing)}</summary>
              <check-course-result
                .desk=${this.#desk}
                .course=${course}
                .outing=${outing}
              ></check-course-result>
            </details>`
          : html`<p>${outingWords(outing)}</p>`,
      )}
    </section>`;
  }

  /** What the day came to is brought to sight once it is there. */
  protected override updated(changes: PropertyValues): void {
    super.updated(changes);
    const { outing } = this.#desk;
    const isSettled = outing?.settled !== undefined;
    const before = this.#seen;
    this.#seen = outing && { outing: outing.id, isSettled };
    if (!isSettled || !before || before.outing !== outing.id || before.isSettled) return;
    requestAnimationFrame(() => {
      this.querySelector('check-course-result')?.scrollIntoView({ behavior: 'instant' });
    });
  }
}

declare global {
  interface HTMLElementTagNameMap {
    'check-course-page': CheckCoursePage;
  }
}
