import { html, nothing } from 'lit';
import { customElement, property, state } from 'lit/decorators.js';
import { tolerances, type ToleranceChoice } from '../steps/tolerance.ts';
import { View } from './view.ts';

/** A person chose what the calibration is judged against. */
export class ToleranceEvent extends Event {
  static readonly type = 'tolerance';
  constructor(readonly tolerance: ToleranceChoice) {
    super(ToleranceEvent.type, { bubbles: true });
  }
}

const OWN = 'own';

/** What the calibration is judged against: a published survey grade, or a figure of one's own. */
@customElement('tolerance-choice')
export class ToleranceChoiceView extends View {
  @property({ attribute: false }) tolerance!: ToleranceChoice;
  /** A figure of one's own is asked for, and not given yet. */
  @state() private asking = false;

  protected override render() {
    const { grades, source, own } = tolerances;
    const { grade, degrees } = this.tolerance;
    const chosen = this.asking || grade === undefined ? OWN : grade;
    return html`<div class="fields">
        <label class="field"
          >Judge it against
          <select @change=${this.#pick}>
            ${grades.map(
              (each) =>
                html`<option value=${each.grade} .selected=${each.grade === chosen}>
                  BCRA grade ${each.grade}: ±${each.degrees}°
                </option>`,
            )}
            <option value=${OWN} .selected=${chosen === OWN}>A figure of your own</option>
          </select>
        </label>
        ${
          chosen === OWN
            ? html`<label class="field"
                >Azimuth and inclination true to, degrees
                <input
                  type="number"
                  min=${own.least}
                  max=${own.most}
                  step="any"
                  .value=${String(degrees)}
                  @change=${this.#enter}
                />
              </label>`
            : nothing
        }
      </div>
      <p class="note">
        Grades: ${source}: ${grades.map(({ grade, asks }) => `grade ${grade}, ${asks}`).join('; ')}.
        They ask more than this of a survey; local rules decide.
      </p>`;
  }

  #pick(event: Event) {
    const { value } = event.target as HTMLSelectElement;
    const grade = tolerances.grades.find((each) => each.grade === value);
    this.asking = grade === undefined;
    if (grade) this.#choose({ degrees: grade.degrees, grade: grade.grade });
  }

  #enter(event: Event) {
    const input = event.target as HTMLInputElement;
    if (!input.reportValidity() || input.value === '') return;
    this.asking = false;
    this.#choose({ degrees: Number(input.value) });
  }

  #choose(tolerance: ToleranceChoice) {
    this.dispatchEvent(new ToleranceEvent(tolerance));
  }
}
