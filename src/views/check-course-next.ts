import { html, nothing } from 'lit';
import { customElement, property } from 'lit/decorators.js';
import type { Bench } from '../steps/bench.ts';
import type { CourseDesk, CourseDeskState } from '../steps/course/course-desk.ts';
import type { CourseState } from '../steps/course/course-state.ts';
import {
  BOARDS_TO_TRY,
  nextInCourse,
  type CourseOffer,
  type CourseWish,
} from '../steps/course/next-in-course.ts';
import { shape } from './shapes.ts';
import { ShortCard } from './short-card.ts';

/** What was done last on a check course, and what went wrong. */
export const courseOutcome = ({ said, trouble }: CourseDeskState) =>
  html`${
      trouble === undefined
        ? nothing
        : html`<div class="trouble" role="alert">
            ${shape('bad')}
            <div><p>${trouble}</p></div>
          </div>`
    }
    <p class="said" role="status">${said}</p>`;

/** The one thing to do next on a check course, always in sight: scrolled away, it lies short at the window's lower edge. */
@customElement('check-course-next')
export class CheckCourseNext extends ShortCard {
  @property({ attribute: false }) bench!: Bench;
  @property({ attribute: false }) desk!: CourseDesk;
  @property({ attribute: false }) course!: CourseState;

  protected override follows() {
    return [this.desk, this.bench];
  }

  protected override render() {
    const { desk } = this;
    const { work, shooter } = desk.state;
    const busy = work !== undefined || this.bench.isAtWork;
    const step = nextInCourse({
      course: this.course,
      outing: desk.outing,
      today: desk.today,
      shooter,
      nextPlace: desk.nextPlace,
      nameOf: (instrument) => desk.nameOf(instrument),
      boards: desk.boards.map(({ serial, state }) => ({
        instrument: { board: serial! },
        isHeld: state.link.kind === 'simulated' && state.ownHand === undefined,
      })),
    });
    const offer = (each: CourseOffer, kind: 'main' | 'other') =>
      html`<button
        type="button"
        class=${kind}
        aria-disabled=${busy ? 'true' : 'false'}
        @click=${() => {
          if (!busy) void this.#wish(each.does);
        }}
      >
        ${each.label}
      </button>`;
    return html`<section
      class="next course-next ${this.isShort ? 'short' : ''}"
      aria-labelledby="course-next"
    >
      <p class="eyebrow">${busy ? 'Under way' : 'Next'}</p>
      <h3 id="course-next">${step.heading}</h3>
      <p class="words">${step.words}</p>
      <div class="offers">
        ${step.main ? offer(step.main, 'main') : nothing}
        ${step.others.map((each) => offer(each, 'other'))}
      </div>
      ${work === undefined ? nothing : this.#work(work)} ${courseOutcome(desk.state)}
    </section>`;
  }

  #work(work: string) {
    const works = this.bench.places.flatMap(({ state }) => state.work ?? []);
    const of = works.reduce((sum, each) => sum + (each.of ?? 0), 0);
    const done = works.reduce((sum, each) => sum + (each.done ?? 0), 0);
    return html`<div class="work">
      <label>
        <span>${work}</span>
        ${of === 0 ? html`<progress></progress>` : html`<progress max=${of} .value=${done}></progress>`}
      </label>
      <button type="button" @click=${() => void this.desk.stop()}>Stop</button>
    </div>`;
  }

  async #wish(wish: CourseWish): Promise<void> {
    const { desk } = this;
    switch (wish) {
      case 'begin outing':
        return desk.beginOuting();
      case 'shoot next':
        return desk.shoot('next');
      case 'shoot rest':
        return desk.shoot('rest');
      case 'shoot all':
        return desk.shootAll();
      case 'make ready':
        return desk.makeReady(BOARDS_TO_TRY);
      case 'next instrument':
        return desk.chooseNext();
      case 'settle':
        return desk.settle();
      case 'print':
        print();
    }
  }
}

declare global {
  interface HTMLElementTagNameMap {
    'check-course-next': CheckCourseNext;
  }
}
