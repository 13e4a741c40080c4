import { html, nothing } from 'lit';
import { customElement, property, state } from 'lit/decorators.js';
import type { Bench } from '../steps/bench.ts';
import { messageOf } from '../steps/bench-words.ts';
import {
  EACH,
  emptyForm,
  madeUpForm,
  termsOf,
  type CheckForm,
} from '../steps/checks/check-form.ts';
import { type CheckState } from '../steps/checks/check-history.ts';
import { CHECK_NAMES, type CheckKind, type CheckRecord } from '../steps/checks/check-names.ts';
import { placesOf } from '../steps/checks/check-places.ts';
import {
  ABOUT,
  BEAM_CAUTIONS,
  BEARING_SIGNS,
  CHECK_CAUTIONS,
  INTERVAL_WORDS,
} from '../steps/checks/check-about.ts';
import {
  checkTitle,
  expectedWords,
  heldAgainst,
  limitWords,
  standingWords,
  valueWords,
} from '../steps/checks/check-words.ts';
import { progressWords } from '../steps/checks/place-words.ts';
import type { PlaceState } from '../steps/place-state.ts';
import { declinationHere } from '../steps/checks/declination.ts';
import { timeWords } from '../steps/time-words.ts';
import {
  GRADES_SOURCE,
  LENGTH_GRADES,
  ORDINARY_TOLERANCE,
  type ToleranceChoice,
} from '../steps/tolerance.ts';
import { rangeWriting, type FoundRange } from '../steps/checks/range-writing.ts';
import './check-view.css';
import { shape, type Shape } from './shapes.ts';
import { ToleranceEvent } from './tolerance-choice.ts';
import { View } from './view.ts';

const KINDS = Object.keys(CHECK_NAMES) as CheckKind[];

const SHAPES: Record<CheckRecord['verdict'], Shape> = {
  passed: 'good',
  failed: 'bad',
  'not settled': 'watch',
};

/** Checks of the instrument in the field: which there are, the one under way, and what each came to. */
@customElement('check-view')
export class CheckView extends View {
  @property({ attribute: false }) bench!: Bench;
  @property({ attribute: false }) state!: PlaceState;
  @state() private form: CheckForm = emptyForm('rolls');
  /** What a check is held against from now on, where that was chosen here. */
  @state() private chosen: ToleranceChoice | undefined;
  @state() private problems: readonly string[] = [];
  @state() private said = '';

  protected override follows() {
    return [this.bench.site];
  }

  protected override render() {
    const { checks, inForce } = this.state.history;
    const { now } = checks;
    return html`
      ${now ? this.#underWay(now) : nothing} ${this.#records()}
      ${
        now
          ? nothing
          : inForce
            ? this.#form()
            : html`<p>
                The board has no coefficients yet, so it shows no angles that could be checked.
              </p>`
      }
      <h3>With every check</h3>
      <ul>
        ${CHECK_CAUTIONS.map((each) => html`<li>${each}</li>`)}
      </ul>
      <p class="note">${INTERVAL_WORDS}</p>
    `;
  }

  get #able(): boolean {
    return this.state.link.state === 'linked' && this.state.work === undefined;
  }

  get #checks() {
    return this.bench.atHand.fieldChecks;
  }

  // Under way

  #underWay(check: CheckState) {
    const { terms, tolerance, generation } = check.begun;
    const all = placesOf(terms).length;
    return html`<section class="check-now" aria-labelledby="check-heading">
      <h3 id="check-heading">${CHECK_NAMES[terms.check]}</h3>
      <p class="note">
        Of generation ${generation}, held against ${heldAgainst(tolerance, terms.check)}.
        ${progressWords(check)}
      </p>
      <progress
        max=${all}
        .value=${check.readings.size}
        aria-label="Readings of this check"
      ></progress>
      <p>What to do stands under <a href="#next">what is next</a>.</p>
      ${this.#cannotSee(terms.check)} ${terms.check === 'beam' ? beamCautions() : nothing}
    </section>`;
  }

  // Before

  #form() {
    const { form } = this;
    const { what, sees } = ABOUT[form.check];
    return html`<form class="check-form" novalidate @submit=${this.#begin}>
      <label class="field"
        >Which check
        <select
          @change=${(event: Event) => {
            this.#start((event.target as HTMLSelectElement).value as CheckKind);
          }}
        >
          ${this.#kinds().map(
            (kind) =>
              html`<option value=${kind} .selected=${kind === form.check}>
                ${CHECK_NAMES[kind]}
              </option>`,
          )}
        </select>
      </label>
      <p>${what}</p>
      <p><strong>It sees:</strong> ${sees}</p>
      ${this.#cannotSee(form.check)} ${form.check === 'beam' ? beamCautions() : nothing}
      <div class="fields">
        ${this.#number('each', `Readings of each aim (${EACH[form.check].least} to ${EACH[form.check].most})`)}
        ${this.#fields(form.check)}
      </div>
      ${form.check === 'known bearings' ? this.#declination() : nothing}
      ${
        form.check === 'range'
          ? html`<p class="note">${LENGTHS_WORDS}</p>`
          : html`<tolerance-choice
              .tolerance=${this.#tolerance}
              @tolerance=${(event: Event) => {
                event.stopPropagation(); // it is this check's, not the calibration's
                if (event instanceof ToleranceEvent) this.chosen = event.tolerance;
              }}
            ></tolerance-choice>`
      }
      ${
        this.problems.length > 0
          ? html`<div role="alert">
              <ul class="problems">
                ${this.problems.map((each) => html`<li>${each}</li>`)}
              </ul>
            </div>`
          : nothing
      }
      <div class="offers">
        <button type="submit" class="main" aria-disabled=${this.#able ? 'false' : 'true'}>
          Begin this check
        </button>
        ${
          this.state.simulator
            ? html`<button
                type="button"
                @click=${() => {
                  this.form = madeUpForm(form.check);
                }}
              >
                Fill in something to try
              </button>`
            : nothing
        }
      </div>
      ${
        this.state.link.state === 'linked'
          ? nothing
          : html`<p>Once the board is linked the check can begin.</p>`
      }
    </form>`;
  }

  #fields(check: CheckKind) {
    const { form } = this;
    switch (check) {
      case 'rolls':
        return this.#text('mark', 'What is aimed at');
      case 'battery swap':
        return nothing;
      case 'fore and back':
        return html`${this.#choice('sameHeights', 'Aimed as high over the mark as held over the other')}
        ${
          form.sameHeights
            ? nothing
            : html`${this.#number('higherFore', 'From A: aimed higher over B than held over A, m')}
              ${this.#number('higherBack', 'From B: aimed higher over A than held over B, m')}
              ${this.#number('distance', 'Level distance from A to B, m')}`
        }`;
      case 'known bearings':
        return html`<label class="field"
            >North of the bearings
            <select
              @change=${(event: Event) => {
                const north = (event.target as HTMLSelectElement).value as CheckForm['north'];
                this.#set({ north });
              }}
            >
              ${(['magnetic', 'true', 'grid'] as const).map(
                (north) =>
                  html`<option value=${north} .selected=${north === form.north}>
                    ${NORTHS[north]}
                  </option>`,
              )}
            </select>
          </label>
          ${this.#number('trueTo', 'No bearing is off by more than, °')}
          ${this.#lines('bearings', 'Bearings, a line each: degrees, then what is aimed at')}`;
      case 'loop':
        return html`${this.#text(
          'lengths',
          form.ranged
            ? 'Lengths of the legs in order, m, paced will do'
            : 'Lengths of the legs in order, m, with blanks between',
        )}
        ${form.ranged ? nothing : this.#number('lengthsTo', 'No length is off by more than, m')}
        ${this.#number('heldTo', 'Held over its mark to within, m')}
        ${this.#choice('bothWays', 'Each leg is sighted from both ends')}
        ${
          this.#measures
            ? this.#choice('ranged', 'The board’s range module measures the lengths')
            : nothing
        }`;
      case 'range':
        return html`${this.#text('lengths', 'Taped lengths, m, with blanks between')}
        ${this.#number('lengthsTo', 'No tape reading is off by more than, m')}
        ${this.#number('tapeTo', 'In 10 m the tape itself is off by no more than, mm')}
        ${this.#number('limit', 'No range may be off by more than, m')}
        ${this.#text('from', 'Point of the instrument that was taped from')}`;
      case 'beam':
        return html`${this.#number('near', 'The nearer mark is away, m')}
        ${this.#number('far', 'The farther mark is away, m')}
        ${this.#number('readTo', 'No landing is off by more than, mm')}
        ${this.#lines('nearLanded', `At the nearer mark, ${LANDED}`)}
        ${this.#lines('farLanded', `At the farther mark, ${LANDED}`)}`;
    }
  }

  /** Kinds that this board can be checked by. */
  #kinds(): CheckKind[] {
    return KINDS.filter((kind) => kind !== 'range' || this.#measures);
  }

  /** Whether it has a range module. */
  get #measures(): boolean {
    return this.state.history.identity?.capabilities.includes('range') ?? false;
  }

  #choice(name: 'sameHeights' | 'bothWays' | 'ranged', label: string) {
    return html`<label class="choice"
      ><input
        type="checkbox"
        .checked=${this.form[name]}
        @change=${(event: Event) => {
          this.#set({ [name]: (event.target as HTMLInputElement).checked });
        }}
      />
      ${label}</label
    >`;
  }

  #lines(name: 'bearings' | 'nearLanded' | 'farLanded', label: string) {
    return html`<label class="field check-lines"
      >${label}
      <textarea
        rows="4"
        .value=${this.form[name]}
        @change=${(event: Event) => {
          this.#set({ [name]: (event.target as HTMLTextAreaElement).value });
        }}
      ></textarea>
    </label>`;
  }

  #declination() {
    const { form } = this;
    if (form.north === 'magnetic') return html`<p class="note">${BEARING_SIGNS}</p>`;
    return html`<div class="fields">
        ${this.#number('declination', 'Declination, °, east positive')}
        ${this.#number('declinationError', 'Its standard error, ° (type 0 if it was measured here)')}
        ${form.north === 'grid' ? this.#number('convergence', 'Convergence, °, grid north east of true positive') : nothing}
      </div>
      <div class="offers">
        <button type="button" @click=${this.#byModel}>Declination from the model</button>
      </div>
      <p role="status">${this.said}</p>
      <p class="note">${BEARING_SIGNS}</p>`;
  }

  #byModel = async (): Promise<void> => {
    const { site, logbook } = this.bench;
    try {
      await site.read();
    } catch (error) {
      this.said = messageOf(error);
      return;
    }
    const found = declinationHere(site.kept, logbook.now());
    if (found.ok) {
      const { declination, declinationError } = found;
      this.form = { ...this.form, declination, declinationError };
    }
    this.said = found.words;
  };

  #text(name: TextField, label: string) {
    return this.#input(name, label, 'text');
  }

  #number(name: NumberField, label: string) {
    return this.#input(name, label, 'decimal');
  }

  /** Text boxes throughout: a number box drops what it cannot read, and decimal commas with it. */
  #input(name: NumberField | TextField, label: string, mode: 'text' | 'decimal') {
    return html`<label class="field"
      >${label}
      <input
        type="text"
        inputmode=${mode}
        autocomplete="off"
        maxlength="400"
        .value=${this.form[name]}
        @change=${(event: Event) => {
          this.#set({ [name]: (event.target as HTMLInputElement).value });
        }}
      />
    </label>`;
  }

  #set(change: Partial<CheckForm>) {
    this.form = { ...this.form, ...change };
  }

  #start(check: CheckKind) {
    this.form = emptyForm(check);
    this.problems = [];
    this.said = '';
  }

  get #tolerance(): ToleranceChoice {
    return this.chosen ?? this.state.history.calibration?.tolerance ?? ORDINARY_TOLERANCE;
  }

  #begin = (event: SubmitEvent) => {
    event.preventDefault();
    if (!this.#able) return;
    const read = termsOf(this.form);
    this.problems = read.ok ? [] : read.problems;
    if (read.ok) void this.#checks.begin(read.terms, this.#tolerance);
  };

  #cannotSee(check: CheckKind) {
    return html`<div>
      <p><strong>It cannot see:</strong></p>
      <ul>
        ${ABOUT[check].blindTo.map((each) => html`<li>${each}</li>`)}
      </ul>
    </div>`;
  }

  // After

  #records() {
    const { checks, inForce } = this.state.history;
    const { records, newest } = checks;
    const kinds = KINDS.filter((kind) => records[kind]).sort(
      (a, b) => Number(b === newest) - Number(a === newest),
    );
    if (kinds.length === 0) return nothing;
    return html`<h3>What checks came to</h3>
      ${kinds.map((kind) => this.#record(records[kind]!, kind === newest, inForce?.crc))}
      <p class="note">All of them are in the board’s course in the logbook.</p>`;
  }

  #record(record: CheckRecord & { time: string }, open: boolean, crc: string | undefined) {
    return html`<details class="check-record" ?open=${open}>
      <summary>
        ${shape(SHAPES[record.verdict])}
        <span>${checkTitle(record)}</span>
      </summary>
      <p class="note">
        ${timeWords(record.time)}, of generation ${record.generation}, held against
        ${heldAgainst(record.tolerance, record.of)}.
        ${record.crc === crc ? '' : 'The board runs other coefficients by now.'}
      </p>
      ${(record.found ?? []).map((each) => html`<p>${each}</p>`)}
      ${record.range ? this.#writing(record.range) : nothing}
      ${record.figures.length > 0 ? this.#figures(record) : nothing}
      ${record.warnings.map((each) => html`<p>${shape('watch')} ${each}</p>`)}
      ${this.#cannotSee(record.of)}
    </details>`;
  }

  /** What a range check found, to be written to the board. */
  #writing(range: FoundRange) {
    const settings = this.state.history.care.settings?.settings ?? [];
    const { words, can } = rangeWriting(range, settings);
    return html`<p>${words}</p>
      ${
        can
          ? html`<div class="offers">
              <button
                type="button"
                aria-disabled=${this.#able && !this.state.history.checks.now ? 'false' : 'true'}
                @click=${() => {
                  if (this.#able && !this.state.history.checks.now) void this.#checks.writeRange();
                }}
              >
                Write constant and scale to the board
              </button>
            </div>`
          : nothing
      }`;
  }

  #figures({ figures }: CheckRecord) {
    return html`<ul class="findings">
      ${figures.map((figure) => {
        const { name, n, standing, unit } = figure;
        const allowed = standing ? `; allowed ${limitWords(figure)}: ${standingWords(figure)}` : '';
        const expected = expectedWords(figure);
        return html`<li class=${standing ? STANDING_SHAPES[standing] : 'ahead'}>
          ${shape(standing ? STANDING_SHAPES[standing] : 'ahead')}
          <div>
            <h4>${name}</h4>
            <p class="figure">${valueWords(figure)}</p>
            <p class="note">over ${n} ${unit === 'mm' ? 'values' : 'readings'}${allowed}</p>
            ${expected ? html`<p class="note">${expected}</p>` : nothing}
          </div>
        </li>`;
      })}
    </ul>`;
  }
}

type NumberField = Exclude<
  keyof CheckForm,
  | TextField
  | 'check'
  | 'bearings'
  | 'nearLanded'
  | 'farLanded'
  | 'north'
  | 'sameHeights'
  | 'bothWays'
  | 'ranged'
>;
type TextField = 'mark' | 'lengths' | 'from';

const LANDED =
  'where the beam lands beside it, mm to the right, then up: a line each for upright, a quarter right, upside down, a quarter left';

const LENGTHS_WORDS = `Of lengths the survey grades ask: ${LENGTH_GRADES.map(
  ({ grade, asks, metres }) => `grade ${grade}, ${asks} (${metres} m here)`,
).join('; ')}. Source: ${GRADES_SOURCE}.`;

const beamCautions = () =>
  html`<div role="note" class="beam-cautions">
    <p>${shape('watch')} <strong>Before the beam is switched on</strong></p>
    <ul>
      ${BEAM_CAUTIONS.map((each) => html`<li>${each}</li>`)}
    </ul>
  </div>`;

const NORTHS = {
  magnetic: 'Magnetic north',
  true: 'True north',
  grid: 'Grid north of a map',
} as const;

const STANDING_SHAPES = { within: 'good', outside: 'bad', 'not settled': 'watch' } as const;
