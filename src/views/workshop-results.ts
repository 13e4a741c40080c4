import { html, nothing } from 'lit';
import { customElement, property, state } from 'lit/decorators.js';
import { CAUTION } from '../steps/calibration-report.ts';
import { dayWords, timeWords } from '../steps/time-words.ts';
import { toleranceName } from '../steps/tolerance.ts';
import { kitName, resultWords } from '../steps/workshop/kit-words.ts';
import type { KitRow, WorkshopDesk, WorkshopNow } from '../steps/workshop/workshop-desk.ts';
import { saveFile } from './save-file.ts';
import { shape } from './shapes.ts';
import { View } from './view.ts';
import { SITE_WORDS } from './workshop-kits.ts';
import './printed.css';
import './workshop-results.css';

/** What came of every kit, to be printed on one page. */
@customElement('workshop-results')
export class WorkshopResults extends View {
  @property({ attribute: false }) desk!: WorkshopDesk;
  @property({ attribute: false }) now!: WorkshopNow;
  /** Version of Lodebench. */
  @property() program!: string;
  /** When it is looked at. */
  @property({ attribute: false }) today!: Date;
  @state() private saved = '';

  protected override render() {
    const { now } = this;
    const { terms, kits, counts } = now;
    return html`<section class="sheet results" aria-labelledby="results-heading">
      <div class="results-offers">
        <div class="offers">
          <button type="button" class="main" @click=${() => print()}>Print the results</button>
          <button type="button" @click=${this.#save}>Save the results (CSV)</button>
        </div>
        <p role="status">${this.saved}</p>
      </div>
      <h3 id="results-heading">
        <span>Results: <bdi>${terms.name}</bdi></span>
      </h3>
      <p class="results-facts">
        ${dayWords(terms.day)}${terms.place ? html`, <bdi>${terms.place}</bdi>` : ''}. Judged
        against ${toleranceName(terms.tolerance)}. ${counts.proven} of ${kits.length} proven.
        ${siteWords(now)} It tells of the boards as they are now, whatever was done to them since.
      </p>
      <div class="scroll" tabindex="0" role="region" aria-label="Results of all kits">
        <table class="results-table">
          <thead>
            <tr>
              <th scope="col">Place</th>
              <th scope="col">Who built it</th>
              <th scope="col">Board</th>
              <th scope="col">Result</th>
              <th scope="col" class="figure">Azimuth</th>
              <th scope="col" class="figure">Inclination</th>
              <th scope="col" class="figure">Spread</th>
              <th scope="col">Readings at</th>
              <th scope="col">On the board</th>
            </tr>
          </thead>
          <tbody>
            ${kits.map((row) => this.#kit(row))}
          </tbody>
        </table>
      </div>
      <p class="note">
        Azimuth and inclination: halves of the 95 % intervals of what the coefficients add, over all
        attitudes up to 70° up or down (azimuth times the cosine of inclination). Spread: mean over
        the sightings of how far readings of one line differ; under 0.5° is common practice, with no
        published source, and it passes nothing by itself. None of it sees iron that is the same for
        every reading.
      </p>
      <p>
        <strong>Not valid for</strong> another battery or housing, newer firmware, the time after a
        knock or a season; temperatures far from those of the readings; sights steeper than 70°;
        places where iron, wires, vehicles or other instruments are near; true or grid north, which
        declination and convergence tell.
      </p>
      <p class="report-caution">${CAUTION}</p>
      ${
        now.remarks.length === 0
          ? nothing
          : html`<p>
              Remarks:
              ${now.remarks.map(({ text }, i) => html`${i > 0 ? '; ' : ''}<bdi>${text}</bdi>`)}
            </p>`
      }
      <div class="report-sign results-sign">
        <p>Done by</p>
        <p>Signature</p>
        <p>Date</p>
      </div>
      <p class="note">Lodebench ${this.program}, ${timeWords(this.today.toISOString())}.</p>
    </section>`;
  }

  #kit(row: KitRow) {
    const { standing, verdict, azimuth, inclination, spread, temperature, written } =
      resultWords(row);
    return html`<tr>
      <td><bdi>${row.place}</bdi></td>
      <th scope="row"><bdi>${kitName(row)}</bdi></th>
      <td class="results-serial"><bdi>${row.serial}</bdi></td>
      <td class="results-verdict"><span>${shape(standing)}</span> <span>${verdict}</span></td>
      <td class="figure">${azimuth}</td>
      <td class="figure">${inclination}</td>
      <td class="figure">${spread}</td>
      <td>${temperature}</td>
      <td>${written}</td>
    </tr>`;
  }

  #save = () => {
    const file = this.desk.takeOutResults();
    if (file) this.saved = saveFile(file);
  };
}

function siteWords({ site }: WorkshopNow): string {
  return site
    ? `Site: ${SITE_WORDS[site.verdict] ?? site.verdict} (checked ${timeWords(site.checked)}).`
    : 'No site check stands for all.';
}

declare global {
  interface HTMLElementTagNameMap {
    'workshop-results': WorkshopResults;
  }
}
