import { html, nothing } from 'lit';
import { customElement, property } from 'lit/decorators.js';
import type { Bench } from '../steps/bench.ts';
import { workWords } from '../steps/bench-words.ts';
import { nextStep } from '../steps/next-step.ts';
import type { BenchPlace } from '../steps/place.ts';
import { kitName, laneOf, laneWords, resultWords, seenWords } from '../steps/workshop/kit-words.ts';
import { PLACES } from '../steps/next-step.ts';
import { timeWords } from '../steps/time-words.ts';
import type {
  KitFields,
  KitRow,
  WorkshopDesk,
  WorkshopNow,
} from '../steps/workshop/workshop-desk.ts';
import { factList } from './fact-list.ts';
import { boardAddress, workshopAddress } from './page-part.ts';
import { shape } from './shapes.ts';
import { View } from './view.ts';
import './workshop-builder.css';
import { laneDrawing } from './workshop-lane.ts';
import { remarkForm, remarkList } from './workshop-kits.ts';

/** The page of one kit, for whoever builds it: what to do now, large, and where its board stands. */
@customElement('workshop-builder')
export class WorkshopBuilder extends View {
  @property({ attribute: false }) bench!: Bench;
  @property({ attribute: false }) desk!: WorkshopDesk;
  @property({ attribute: false }) now!: WorkshopNow;
  @property({ attribute: false }) row!: KitRow;

  protected override follows() {
    return [this.bench];
  }

  protected override render() {
    const { row, now } = this;
    const { place, serial, name } = row;
    const called = kitName(row);
    const here = this.bench.places.find((each) => each.serial === serial && serial !== '');
    return html`
      <a class="way-back" href=${workshopAddress(now.paper)}
        ><span>The whole roster: <bdi>${now.terms.name}</bdi></span></a
      >
      <div class="builder-head">
        <h2 id="logbook-heading" tabindex="-1">
          ${place ? html`<span class="at"><span class="unseen">Place </span><bdi>${place}</bdi></span>` : nothing}
          <bdi>${called}</bdi>
        </h2>
        <p>
          <bdi
            >${serial ? [name, serial === called ? '' : serial].filter(Boolean).join(', ') : 'No board yet'}</bdi
          >
        </p>
      </div>
      ${this.#stage()} ${here ? this.#next(here) : this.#away()} ${this.#result()} ${this.#more()}
    `;
  }

  #stage() {
    const { row } = this;
    const { words } = laneWords(row);
    const seen = seenWords(row);
    return html`<section class="builder-stage" aria-label="How far it is">
      <div class="stages" aria-hidden="true">
        ${PLACES.map((place) => html`<span>${place}</span>`)}
      </div>
      ${laneDrawing(laneOf(row.stage))}
      <p class="large so">${shape(row.shape)} <span>${words}${seen ? `, ${seen}` : ''}</span></p>
    </section>`;
  }

  /** The same as the next card of the bench says, and the way there with this board in hand. */
  #next(here: BenchPlace) {
    const { state } = here;
    const { heading, words, main } = nextStep(state);
    const { work, trouble } = state;
    return html`<section class="builder-next" aria-labelledby="builder-next-heading">
      <p class="eyebrow">${work ? 'Under way' : 'Next'}</p>
      <h3 id="builder-next-heading">${heading}</h3>
      <p class="words">${words}</p>
      ${
        trouble
          ? html`<div class="trouble" role="alert">
              ${shape('bad')}
              <div>
                <h4>${trouble.heading}</h4>
                <p>${trouble.message}</p>
                ${
                  trouble.next
                    ? html`<ul>
                        ${trouble.next.map((each) => html`<li>${each}</li>`)}
                      </ul>`
                    : nothing
                }
              </div>
            </div>`
          : nothing
      }
      ${work ? html`<p class="large">${workWords(work)}</p>` : nothing}
      <p class="offers">
        <button type="button" class="main" @click=${() => this.#bringToHand(here)}>
          Bring this board to hand
        </button>
      </p>
      ${main && !work ? html`<p class="note">At the bench: “${main.label}”.</p>` : nothing}
    </section>`;
  }

  #bringToHand(here: BenchPlace): void {
    this.bench.pick(here);
    location.hash = '#bench';
  }

  #away() {
    const { row } = this;
    const seen = seenWords(row);
    return html`<section class="builder-next" aria-labelledby="builder-next-heading">
      <p class="eyebrow">Next</p>
      <h3 id="builder-next-heading">
        ${row.serial ? 'Link the board at the bench' : 'This kit has no board yet'}
      </h3>
      <p class="words">
        ${
          row.serial
            ? `It is not at this bench${seen ? `: ${seen}` : ''}. Linking changes nothing on it.`
            : 'Link it at the bench; then the tutor gives it to this kit, or its serial number is typed below.'
        }
      </p>
      <p class="offers"><a class="way-back" href="#bench">To the bench</a></p>
    </section>`;
  }

  #result() {
    const { row } = this;
    const { result } = row;
    if (!result) return nothing;
    const { standing, verdict, azimuth, inclination, spread, temperature, written } =
      resultWords(row);
    const of95 = '(95 %, of the coefficients)';
    return html`<section class="sheet" aria-labelledby="builder-result-heading">
      <h3 id="builder-result-heading">What came of it</h3>
      <p class="large so">${shape(standing)} <span>${verdict}</span></p>
      ${factList([
        { name: `Azimuth ${of95}`, value: azimuth },
        { name: `Inclination ${of95}`, value: inclination },
        ...(spread ? [{ name: 'Mean spread; under 0.5° is common practice', value: spread }] : []),
        ...(temperature ? [{ name: 'Temperature of the readings', value: temperature }] : []),
        ...(written ? [{ name: 'On the board', value: written }] : []),
      ])}
      <p class="note">
        The sight, the battery and iron in the hill are not in these figures. The
        <a href=${boardAddress(row.serial)}>logbook of this board</a> has its report.
      </p>
    </section>`;
  }

  /** What the tutor, or the builder, changes of the kit itself. */
  #more() {
    const { row, desk } = this;
    const { kit } = row;
    return html`<details class="sheet">
      <summary><h3>About this kit</h3></summary>
      <div class="workshop-about">
        <form class="workshop-form" @submit=${this.#change}>
          <div class="fields">
            ${FIELDS.map(
              ({ name, label }) =>
                html`<label class="field"
                  >${label}
                  <input
                    type="text"
                    name=${name}
                    maxlength="64"
                    autocomplete="off"
                    .value=${row[name]}
                  />
                </label>`,
            )}
          </div>
          <p class="offers"><button type="submit">Change the roster</button></p>
        </form>
        ${
          row.overruled.length === 0
            ? nothing
            : html`<ul class="workshop-remarks">
                ${row.overruled.map(
                  ({ field, value, time }) =>
                    html`<li>
                      Another computer had “<bdi>${value}</bdi>” as its ${FIELD_WORDS[field]},
                      ${timeWords(time)}; what came later stands.
                    </li>`,
                )}
              </ul>`
        }
        <h4>Remarks</h4>
        ${remarkList(row.remarks)} ${remarkForm((text) => desk.remark(text, kit))}
        <p class="note">
          The address of this page, on this computer:
          <code>${workshopAddress(this.now.paper, kit)}</code>
        </p>
        <p class="offers">
          <button type="button" @click=${this.#takeOff}>Take it off the roster</button>
        </p>
      </div>
    </details>`;
  }

  #change = async (event: SubmitEvent) => {
    event.preventDefault();
    const given = new FormData(event.target as HTMLFormElement);
    const to: KitFields = Object.fromEntries(
      FIELDS.map(({ name }) => [name, String(given.get(name) ?? '').trim()]),
    );
    await this.desk.changeKit(this.row.kit, to);
  };

  #takeOff = async () => {
    if (await this.desk.takeOff(this.row.kit)) location.hash = workshopAddress(this.now.paper);
  };
}

const FIELDS = [
  { name: 'builder', label: 'Who builds it' },
  { name: 'place', label: 'Place on the bench' },
  { name: 'serial', label: 'Serial number of its board' },
] as const;

const FIELD_WORDS: Readonly<Record<keyof KitFields, string>> = {
  builder: 'builder',
  place: 'place',
  serial: 'serial number',
};

declare global {
  interface HTMLElementTagNameMap {
    'workshop-builder': WorkshopBuilder;
  }
}
