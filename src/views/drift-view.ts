import { html, nothing, svg } from 'lit';
import { customElement, property, state } from 'lit/decorators.js';
import {
  changeText,
  driftBetween,
  driftPictureWords,
  driftPoints,
  largerWords,
  measuredSets,
  type Drift,
  type DriftPoint,
  type MeasuredSet,
} from '../steps/logbook/drift.ts';
import type { StoredEntry } from '../steps/logbook/logbook-desk.ts';
import { dayWords } from '../steps/time-words.ts';
import { degreesText } from '../steps/finding.ts';
import { View } from './view.ts';
import { factList } from './fact-list.ts';

/** A set with how it differs from the one before it and from the first. */
interface Row {
  set: MeasuredSet;
  fromBefore: Drift;
  fromFirst: Drift;
}

/** How a board changed from calibration to calibration. */
@customElement('drift-view')
export class DriftView extends View {
  @property({ attribute: false }) entries!: readonly StoredEntry[];
  @state() private rows: readonly Row[] = [];
  /** The sets that the rows are of, and of how many there will be rows. */
  #sets: readonly MeasuredSet[] = [];
  #of = '';

  protected override willUpdate(changes: Map<PropertyKey, unknown>): void {
    super.willUpdate(changes);
    if (!changes.has('entries')) return;
    const sets = measuredSets(this.entries);
    const of = sets.map(({ crc, between }) => `${crc} ${between.join()}`).join();
    if (of === this.#of) return;
    this.#of = of;
    this.#sets = sets;
    this.rows = [];
    void this.#compare(of);
  }

  /** One comparison after the other, so that the page stays quick meanwhile. */
  async #compare(of: string): Promise<void> {
    const [first] = this.#sets;
    for (const [i, set] of this.#sets.entries()) {
      if (i === 0) continue;
      await new Promise((resolve) => setTimeout(resolve));
      if (of !== this.#of) return;
      const fromFirst = driftBetween(first!, set);
      const fromBefore = i === 1 ? fromFirst : driftBetween(this.#sets[i - 1]!, set);
      this.rows = [...this.rows, { set, fromBefore, fromFirst }];
    }
  }

  protected override render() {
    const sets = this.#sets;
    const [first] = sets;
    if (!first || sets.length === 1) {
      return html`<p>
        ${first ? 'One set of coefficients is known of it' : 'No set of coefficients is known of it'}:
        how it drifts shows once it was calibrated
        ${first ? 'and sealed again' : 'and sealed, and then again'}.
      </p>`;
    }
    if (this.rows.length < sets.length - 1) return html`<p role="status">Comparing…</p>`;
    const newest = this.rows.at(-1)!;
    return html`
      <p>${newest.fromBefore.words.lead}</p>
      ${this.#picture(
        driftPoints(
          sets,
          this.rows.map(({ fromFirst }) => fromFirst),
        ),
      )}
      <div class="scroll" tabindex="0" role="region" aria-label="Change from set to set">
        <table class="drift">
          <thead>
            <tr>
              <th scope="col">Set</th>
              <th scope="col">In between</th>
              <th scope="col">Azimuth × cos inclination, since the set before</th>
              <th scope="col">Inclination, since the set before</th>
              <th scope="col">More than chance?</th>
              <th scope="col">Azimuth × cos inclination, since generation ${first.generation}</th>
            </tr>
          </thead>
          <tbody>
            ${[...this.rows].reverse().map((row) => this.#row(row))}
            <tr>
              <th scope="row">Generation ${first.generation}, ${dayWords(first.time)}</th>
              <td colspan="5">
                ${first.uncertainty ? 'the first' : 'the first; it was not made here'}
              </td>
            </tr>
          </tbody>
        </table>
      </div>
      <p class="note">
        Changes are root mean squares over all attitudes, with the largest. “More than chance” is
        when a change is larger than the two calibrations leave uncertain, 19 times in 20. A change
        that is no more than chance is no reason to think that the board has changed.
      </p>
      <details>
        <summary>What changed in the chips and in the sight</summary>
        ${[...this.rows].reverse().map((row) => this.#chips(row))}
      </details>
    `;
  }

  #row({ set, fromBefore, fromFirst }: Row) {
    return html`<tr>
      <th scope="row">Generation ${set.generation}, ${dayWords(set.time)}</th>
      <td>${set.between.length === 0 ? 'nothing written down' : set.between.join('; ')}</td>
      <td>${changeText(fromBefore.azimuth)}</td>
      <td>${changeText(fromBefore.inclination)}</td>
      <td>${largerWords(fromBefore)}</td>
      <td>${changeText(fromFirst.azimuth)}</td>
    </tr>`;
  }

  #chips({ set, fromBefore: { words } }: Row) {
    return html`<h3>Generation ${set.generation}, ${dayWords(set.time)}</h3>
      <p>${words.lead}</p>
      ${factList(words.rows)}`;
  }

  #picture(points: readonly DriftPoint[]) {
    const [from, to] = [points[0]!.at, points.at(-1)!.at];
    const most = Math.max(0.1, ...points.map(({ change, chance = 0 }) => change + chance)) * 1.1;
    const x = (at: number) => 56 + (to === from ? 0 : ((at - from) / (to - from)) * 324);
    const y = (change: number) => 160 - (Math.max(0, change) / most) * 144;
    const day = (at: number) => dayWords(new Date(at).toISOString());
    const path = points.map(({ at, change }, i) => `${i === 0 ? 'M' : 'L'}${x(at)} ${y(change)}`);
    return html`<figure class="drift-picture">
      <figcaption>Change of azimuth × cos inclination since the first set</figcaption>
      <svg viewBox="0 0 400 190" role="img" aria-label=${driftPictureWords(points)}>
        ${[0, most / 2, most].map(
          (change) => svg`<path class="grid" d="M56 ${y(change)}H380" />
            <text x="50" y=${y(change) + 4} text-anchor="end">${degreesText(change)}</text>`,
        )}
        <text x="56" y="182">${day(from)}</text>
        <text x="380" y="182" text-anchor="end">${day(to)}</text>
        <path class="course" d=${path.join('')} />
        ${points.map(({ at, change, chance }) =>
          chance === undefined
            ? nothing
            : svg`<path class="chance" d="M${x(at)} ${y(change - chance)}V${y(change + chance)}" />`,
        )}
        ${points.map(({ at, change }) => svg`<circle cx=${x(at)} cy=${y(change)} r="4" />`)}
      </svg>
      <p class="note">Upright lines: what chance leaves in it, 19 times in 20.</p>
    </figure>`;
  }
}
