import { html, nothing, type PropertyValues } from 'lit';
import { customElement, property, state } from 'lit/decorators.js';
import { guard } from 'lit/directives/guard.js';
import type { BoardHistory } from '../steps/calibration-state.ts';
import { comparedWithBoard } from '../steps/comparison-words.ts';
import {
  chipFigures,
  inShort,
  modelsSideBySide,
  shownFit,
  uncertaintyAt,
  uncertaintyOverall,
  type FigureRow,
  type PickedAttitude,
  type ShownFit,
  type UncertaintyRow,
} from '../steps/fit-figures.ts';
import type { LiveFit } from '../steps/live-fit.ts';
import {
  ATTITUDE_ANGLES,
  residualChart,
  RESIDUAL_KINDS,
  spreadChart,
  type Along,
  type ResidualKind,
} from '../steps/residual-charts.ts';
import './data-chart.ts';
import { factList } from './fact-list.ts';
import { shape } from './shapes.ts';
import { View } from './view.ts';

const LIMITS = {
  azimuth: [0, 360],
  inclination: [-90, 90],
  roll: [0, 360],
} as const;

/** A fit in figures: the newest recorded one, or, while readings are taken, the provisional one. */
@customElement('fit-view')
export class FitView extends View {
  @property({ attribute: false }) history!: BoardHistory;
  /** The provisional fit, where there is one. */
  @property({ attribute: false }) live: LiveFit | undefined;
  /** While the sheet around it is closed nothing is worked out. */
  @state() private isOpen = true;
  /** Titles of the parts that stand open. */
  @state() private open: ReadonlySet<string> = new Set(['What the fit leaves of the readings']);
  @state() private kind: ResidualKind = 'gravity';
  @state() private along: Exclude<Along, 'order'> = 'inclination';
  @state() private picked: PickedAttitude = { azimuth: 0, inclination: 0, roll: 0 };
  #sheet: HTMLDetailsElement | null = null;
  #shown: ReturnType<typeof shownFit>;

  override connectedCallback(): void {
    super.connectedCallback();
    this.#sheet = this.closest('details');
    this.#sheet?.addEventListener('toggle', this.#toggled);
    this.#toggled();
  }

  override disconnectedCallback(): void {
    super.disconnectedCallback();
    this.#sheet?.removeEventListener('toggle', this.#toggled);
  }

  #toggled = () => {
    this.isOpen = this.#sheet?.open ?? true;
  };

  protected override willUpdate(changes: PropertyValues): void {
    super.willUpdate(changes);
    if (changes.has('history') || changes.has('live')) {
      this.#shown = shownFit(this.history, this.live);
    }
  }

  protected override render() {
    const shown = this.#shown;
    if (!shown || !this.isOpen) return nothing;
    if ('ok' in shown) {
      const { readings, fewest, message, next } = shown;
      return html`<div class="provisional">
        <p class="large">
          No provisional fit
          yet${fewest === undefined ? '' : `: ${readings} of at least ${fewest} readings`}
        </p>
        ${fewest === undefined ? html`<p>${message}</p>` : nothing}
        <p><strong>What to do:</strong> ${next}</p>
      </div>`;
    }
    const { fit, provisional, readings } = shown;
    const { calibration, inForce } = this.history;
    return html`
      ${
        provisional
          ? html`<div class="provisional">
              <p class="large">Provisional, from ${readings} readings</p>
              <p class="note">
                Made anew after each reading, and written nowhere. It finds its noise from these
                readings alone, so its figures move. ${leftOutWords(fit.setAside)}
              </p>
              ${factList(inShort(fit))}
            </div>`
          : html`<p class="note">
              The fit of ${readings} readings. Whether it is good enough stands in the sheet above.
            </p>`
      }
      ${this.#part(
        'What the fit leaves of the readings',
        () =>
          html` ${this.#choices()}
            <div class="charts">
              ${guard(
                [fit.coefficients, this.kind],
                () =>
                  html`<data-chart .data=${residualChart(fit, this.kind, 'order')}></data-chart>`,
              )}
              ${guard(
                [fit.coefficients, this.kind, this.along],
                () =>
                  html`<data-chart
                    .data=${residualChart(fit, this.kind, this.along)}
                  ></data-chart>`,
              )}
              ${guard(
                [fit.coefficients],
                () =>
                  html`<data-chart
                    .data=${spreadChart(fit, calibration?.plan.sightings ?? [])}
                  ></data-chart>`,
              )}
            </div>
            <p class="note">
              Residuals cannot show what turns with the instrument: a steady error along the sight
              leaves none.
            </p>`,
      )}
      ${this.#part('Straight and bowed, side by side', () =>
        guard([fit.coefficients], () => this.#models(shown)),
      )}
      ${this.#part('The chips, as the coefficients describe them', () =>
        guard([fit.coefficients], () => this.#chips(shown)),
      )}
      ${
        inForce
          ? this.#part('Against what is on the board', () =>
              guard([fit.coefficients, inForce], () => this.#change(shown, inForce)),
            )
          : nothing
      }
      ${this.#part(
        'How uncertain it is, attitude by attitude',
        () =>
          html` ${this.#picker()}
            ${guard([fit.coefficients, this.picked], () =>
              this.#uncertainty([uncertaintyAt(fit, this.picked), ...uncertaintyOverall(fit)]),
            )}
            <p class="note">
              Standard error, then half of the interval that holds the truth 95 times in 100: what
              the coefficients add, without the noise of the reading itself and without your aim. It
              holds for the attitudes that readings were near, and says nothing of a field that is
              disturbed where you use it.
            </p>`,
      )}
    `;
  }

  /** A part that can be opened; what it holds is worked out only then. */
  #part(title: string, content: () => unknown) {
    const isOpen = this.open.has(title);
    return html`<details
      ?open=${isOpen}
      @toggle=${(event: Event) => {
        const { open } = event.currentTarget as HTMLDetailsElement;
        if (open === this.open.has(title)) return;
        const others = [...this.open].filter((each) => each !== title);
        this.open = new Set(open ? [...others, title] : others);
      }}
    >
      <summary><h3>${title}</h3></summary>
      <div class="part-content">${isOpen ? content() : nothing}</div>
    </details>`;
  }

  #choices() {
    return html`<div class="fields">
      <label class="field"
        >Show
        <select
          @change=${(event: Event) => {
            this.kind = (event.target as HTMLSelectElement).value as ResidualKind;
          }}
        >
          ${RESIDUAL_KINDS.map(
            ({ kind, words }) =>
              html`<option value=${kind} .selected=${kind === this.kind}>${words}</option>`,
          )}
        </select>
      </label>
      <label class="field"
        >By attitude: along
        <select
          @change=${(event: Event) => {
            this.along = (event.target as HTMLSelectElement).value as Exclude<Along, 'order'>;
          }}
        >
          ${ATTITUDE_ANGLES.map(
            (angle) =>
              html`<option value=${angle} .selected=${angle === this.along}>${angle}</option>`,
          )}
        </select>
      </label>
    </div>`;
  }

  #models(shown: ShownFit) {
    const models = modelsSideBySide(shown);
    if (!models) return nothing;
    return html` <p>${models.decided}</p>
      <div class="scroll" tabindex="0" role="group" aria-label="Straight and bowed, side by side">
        <table>
          <thead>
            <tr>
              <th scope="col">Figure</th>
              <th scope="col" class="figure">Straight</th>
              <th scope="col" class="figure">Bowed</th>
              <th scope="col">What it says</th>
            </tr>
          </thead>
          <tbody>
            ${models.rows.map(
              ({ name, straight, bowed, note }) =>
                html`<tr>
                  <th scope="row">${name}</th>
                  <td class="figure">${straight}</td>
                  <td class="figure">${bowed}</td>
                  <td>${note}</td>
                </tr>`,
            )}
          </tbody>
        </table>
      </div>`;
  }

  #chips({ fit }: ShownFit) {
    const figures = chipFigures(fit);
    if (!figures) return nothing;
    return html` ${this.#figureTable('Chip by chip, along its own axes', ['Chip x', 'Chip y', 'Chip z'], figures.chips)}
      ${this.#figureTable('How the chips sit', ['Figure'], figures.seats)}
      <p class="note">
        Each figure with its standard error. What is normal is common practice for boards of this
        kind and has no published source; a figure beyond it (${shape('watch')}<span class="unseen"
          >look at this</span
        >) is corrected all the same, and worth a look at the chip and at what is near it.
      </p>`;
  }

  #figureTable(name: string, columns: readonly string[], rows: readonly FigureRow[]) {
    return html`<div class="scroll" tabindex="0" role="group" aria-label=${name}>
      <table class="chip-figures">
        <caption>
          ${name}
        </caption>
        <thead>
          <tr>
            <th scope="col">What</th>
            ${columns.map((column) => html`<th scope="col" class="figure">${column}</th>`)}
            <th scope="col">Normal</th>
          </tr>
        </thead>
        <tbody>
          ${rows.map(
            ({ name, figures, normal }) =>
              html`<tr>
                <th scope="row">${name}</th>
                ${columns.map((_, i) => {
                  const cell = figures[i];
                  return cell
                    ? html`<td class="figure">
                        ${
                          cell.standing === 'good'
                            ? nothing
                            : html`${shape(cell.standing)}<span class="unseen"
                                  >look at this:</span
                                > `
                        }${cell.figure}
                      </td>`
                    : html`<td></td>`;
                })}
                <td>${normal}</td>
              </tr>`,
          )}
        </tbody>
      </table>
    </div>`;
  }

  #change({ fit }: ShownFit, inForce: NonNullable<BoardHistory['inForce']>) {
    const { lead, rows } = comparedWithBoard(fit, inForce);
    return html`<p>${lead}</p>
      ${rows.length === 0 ? nothing : factList(rows)}`;
  }

  #picker() {
    return html`<fieldset class="fields">
      <legend>An attitude</legend>
      ${(['azimuth', 'inclination', 'roll'] as const).map(
        (angle) =>
          html`<label class="field"
            >${angle[0]!.toUpperCase()}${angle.slice(1)}, degrees
            <input
              type="number"
              inputmode="numeric"
              step="any"
              min=${LIMITS[angle][0]}
              max=${LIMITS[angle][1]}
              .value=${String(this.picked[angle])}
              @input=${(event: Event) => this.#pick(angle, event.target as HTMLInputElement)}
            />
          </label>`,
      )}
    </fieldset>`;
  }

  #pick(angle: keyof PickedAttitude, input: HTMLInputElement): void {
    if (!input.validity.valid || input.value === '') return; // the browser says what is wrong with it
    this.picked = { ...this.picked, [angle]: input.valueAsNumber };
  }

  #uncertainty(rows: readonly UncertaintyRow[]) {
    return html`<div class="scroll" tabindex="0" role="group" aria-label="Uncertainty">
      <table>
        <thead>
          <tr>
            <th scope="col">Where</th>
            <th scope="col">Azimuth</th>
            <th scope="col">Inclination</th>
          </tr>
        </thead>
        <tbody>
          ${rows.map(
            ({ where, azimuth, inclination }) =>
              html`<tr>
                <th scope="row">${where}</th>
                <td>${azimuth}</td>
                <td>${inclination}</td>
              </tr>`,
          )}
        </tbody>
      </table>
    </div>`;
  }
}

const leftOutWords = (setAside: readonly { id: string }[]): string =>
  setAside.length === 0
    ? ''
    : `It would leave out ${setAside.length === 1 ? 'reading' : 'readings'} ${setAside.map(({ id }) => id).join(', ')}; nothing is set aside until you fit.`;
