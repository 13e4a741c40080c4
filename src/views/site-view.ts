import { html, nothing } from 'lit';
import { customElement, property, state } from 'lit/decorators.js';
import type { Bench } from '../steps/bench.ts';
import { messageOf } from '../steps/bench-words.ts';
import { bytesOf, UNREADABLE } from '../steps/chosen-file.ts';
import type { Finding } from '../steps/finding.ts';
import type { PlaceState } from '../steps/place-state.ts';
import type { GeoPlace } from '../steps/site/earth-field.ts';
import { expectedField, modelFor } from '../steps/site/expected-field.ts';
import { coversWords, readFieldModel } from '../steps/site/field-model-file.ts';
import { askBrowser, outOfRange, PLACE_LIMITS } from '../steps/site/here.ts';
import { checkSite, openCheck, READINGS, type Spot } from '../steps/site/site-check.ts';
import {
  CULPRITS,
  expectedWords,
  placeWords,
  runOut,
  siteFigure,
  siteVerdict,
} from '../steps/site/site-words.ts';
import { timeWords } from '../steps/time-words.ts';
import { shape } from './shapes.ts';
import './site-view.css';
import { View } from './view.ts';

/** Whether the place where readings are to be taken is magnetically clean. */
@customElement('site-view')
export class SiteView extends View {
  @property({ attribute: false }) bench!: Bench;
  @property({ attribute: false }) state!: PlaceState;
  /** What came of the last thing asked for here, and whether it went wrong. */
  @state() private said: { part: Part; words: string } | undefined;
  @state() private isFault = false;
  @state() private isAsking = false;

  protected override follows() {
    return [this.bench.site];
  }

  protected override firstUpdated(): void {
    void this.#try(() => this.bench.site.read());
  }

  protected override render() {
    return html`
      <p>
        A calibration takes the field to be the same in every reading. Steel, magnets and currents
        near by make it differ from one attitude to the next. A fit can leave out single readings
        that show it; it cannot mend a place that spoils them all.
      </p>
      ${this.#check()} ${this.#place()}
      <section aria-labelledby="culprits-heading">
        <h3 id="culprits-heading">What to move away, or move away from</h3>
        <p class="note">Common practice, with no published source.</p>
        <div class="culprits">
          ${CULPRITS.map(
            ({ where, what }) =>
              html`<div>
                <h4>${where}</h4>
                <ul>
                  ${what.map((each) => html`<li>${each}</li>`)}
                </ul>
              </div>`,
          )}
        </div>
      </section>
    `;
  }

  /** What came of what was asked for in that part of the sheet. */
  #told(part: Part) {
    const { said, isFault } = this;
    const words = said?.part === part ? said.words : nothing;
    return html`<p role="status">${isFault ? nothing : words}</p>
      <p role="alert">${isFault ? words : nothing}</p>`;
  }

  #check() {
    const { link, work, history, simulator } = this.state;
    const able = link.state === 'linked' && work === undefined;
    const { newest } = history.site;
    const open = openCheck(this.bench.atHand, this.bench.logbook.now());
    return html`<section aria-labelledby="site-check-heading">
      <h3 id="site-check-heading">Ask the board</h3>
      ${
        link.state === 'linked'
          ? html`<ol>
              <li>
                Hold the board, or lay it on wood or stone, where the readings are to be taken, and
                aim it at something far away. It reads ${READINGS} times while it is still; nothing
                of that stays on it.
              </li>
              <li>
                Walk a metre straight towards what you aim at, hold the board as before, and let it
                read again.${simulator ? ' The simulated hand walks by itself, and back.' : nothing}
              </li>
            </ol>`
          : html`<p>Once a board is linked it can be asked here. The place can be kept before.</p>`
      }
      <p class="offers">
        ${this.#offer('first', able, open ? 'Begin again at this spot' : 'Read the field here')}
        ${open ? this.#offer('second', able, open.spots.length < 2 ? 'Read it a metre on' : 'Read it a metre on again') : nothing}
      </p>
      ${this.#told('check')} ${newest ? this.#result(newest) : nothing}
    </section>`;
  }

  #offer(spot: Spot, able: boolean, label: string) {
    return html`<button
      type="button"
      aria-disabled=${able ? 'false' : 'true'}
      @click=${() => (able ? this.#read(spot) : undefined)}
    >
      ${label}
    </button>`;
  }

  #result(check: NonNullable<PlaceState['history']['site']['newest']>) {
    const { standing, heading, words } = siteVerdict(check);
    const { through, place } = check;
    const moved = check.spots.reduce((sum, spot) => sum + spot.moved, 0);
    return html`<div class="site-result">
      <div class="verdict ${standing}">
        ${shape(standing)}
        <p class="large">${heading}</p>
      </div>
      <p>${words}</p>
      ${findings(check.figures.map(siteFigure))}
      <p class="note">
        ${timeWords(check.time)}${place ? `; ${placeWords(place)}` : ''};
        ${through ? `through the coefficients of generation ${through.generation}` : 'raw readings'}${moved > 0 ? `; ${moved} left out because the board moved` : ''}.
        It is in the logbook of the board.
      </p>
      <h4>What this cannot see</h4>
      <ul>
        ${check.blindTo.map((each) => html`<li>${each}</li>`)}
      </ul>
    </div>`;
  }

  #place() {
    const { site } = this.bench;
    const { place, coefficients } = site.kept;
    const today = this.bench.logbook.now();
    const expected = expectedField(site.kept, today);
    const warning = expected && runOut(expected);
    return html`<section aria-labelledby="site-place-heading">
      <h3 id="site-place-heading">Where this is</h3>
      <p>
        The earth’s field differs from place to place; where this is known, the dip that the board
        sees can be held against it. The place is kept in this browser and written into each check
        of a site, which goes along when the board’s logbook is taken out. It is sent nowhere.
      </p>
      <form @submit=${this.#keep}>
        <div class="fields">
          ${this.#number('latitude', 'Latitude, degrees; south is minus', place)}
          ${this.#number('longitude', 'Longitude, degrees; west is minus', place)}
          ${this.#number('height', 'Height above the sea, metres', place ?? { height: 0 })}
        </div>
        <p class="offers">
          <button type="submit">Keep this place</button>
          <button
            type="button"
            aria-disabled=${this.isAsking ? 'true' : 'false'}
            @click=${this.#askBrowser}
          >
            Ask the browser where this is
          </button>
          ${place ? html`<button type="button" @click=${this.#forget}>Forget the place</button>` : nothing}
        </p>
      </form>
      ${this.#told('place')}
      ${
        expected
          ? html`<h4>What ${expected.model} expects there today</h4>
              ${warning ? html`<p class="run-out">${shape('watch')} <span>${warning}</span></p>` : nothing}
              <ul>
                ${expectedWords(expected).map(({ name, figure, words }) => html`<li>${name} <strong>${figure}</strong> <span class="note">${words}</span></li>`)}
              </ul>`
          : nothing
      }
      <details>
        <summary>Coefficients of the earth’s field</summary>
        <p>
          The World Magnetic Model is made anew every five years.
          ${coversWords(modelFor(site.kept, today))}, and is what is gone by today. A newer one is a
          file of text, WMM.COF, published by NOAA/NCEI; choose it here and it is kept.
        </p>
        <label class="file">
          File of coefficients (WMM.COF)
          <input
            type="file"
            accept=".cof,.COF,.txt,text/plain"
            @change=${(event: Event) => this.#take(event.target as HTMLInputElement)}
          />
        </label>
        ${
          coefficients === undefined
            ? nothing
            : html`<p class="offers">
                <button type="button" @click=${this.#ownCoefficients}>
                  Go back to those that came with this program
                </button>
              </p>`
        }
      </details>
    </section>`;
  }

  #number(name: keyof GeoPlace, label: string, place: Partial<GeoPlace> | undefined) {
    const [least, most] = PLACE_LIMITS[name];
    return html`<label class="field">
      ${label}
      <input
        type="number"
        name=${name}
        min=${least}
        max=${most}
        step="any"
        required
        .value=${place?.[name] === undefined ? '' : String(place[name])}
      />
    </label>`;
  }

  #read = async (spot: Spot) => {
    this.said = undefined;
    const { atHand: place, site, logbook } = this.bench;
    const outcome = await checkSite({ place, site, today: () => logbook.now() }, spot);
    const { newest } = place.state.history.site;
    if (!outcome.written) {
      if (outcome.fault !== undefined) this.#say(outcome.fault, true, 'check');
    } else if (newest) this.#say(`${siteVerdict(newest).heading}.`, false, 'check');
  };

  #keep = async (event: SubmitEvent) => {
    event.preventDefault();
    const form = new FormData(event.target as HTMLFormElement);
    const of = (name: keyof GeoPlace) => Number(form.get(name));
    const place = { latitude: of('latitude'), longitude: of('longitude'), height: of('height') };
    const wrong = outOfRange(place);
    if (wrong !== undefined) return this.#say(wrong, true);
    await this.#try(() => this.bench.site.keepPlace(place, 'typed'), 'The place is kept.');
  };

  #askBrowser = async () => {
    if (this.isAsking) return;
    this.isAsking = true;
    this.#say('Asking the browser; it may ask you for leave…');
    const located = await askBrowser(
      navigator.geolocation,
      window.isSecureContext,
      this.bench.site.kept.place?.height,
    );
    this.isAsking = false;
    if (!located.ok) return this.#say(located.message, true);
    await this.#try(
      () => this.bench.site.keepPlace(located.place, 'browser'),
      `The place is kept. ${located.said}`,
    );
  };

  #forget = () =>
    this.#try(
      () => this.bench.site.forgetPlace(),
      'The place is forgotten. Checks in the logbook that were made there still name it.',
    );

  #take = async (input: HTMLInputElement) => {
    const file = input.files?.[0];
    if (!file) return;
    const bytes = await bytesOf(file);
    input.value = ''; // so that the same file can be chosen again
    if (!bytes) return this.#say(UNREADABLE, true);
    const text = new TextDecoder().decode(bytes);
    const read = readFieldModel(text);
    if (!read.ok) return this.#say(`${file.name}: ${read.message}`, true);
    await this.#try(
      () => this.bench.site.keepCoefficients(text),
      `The coefficients are kept. ${coversWords(read.model)}.`,
    );
  };

  #ownCoefficients = () =>
    this.#try(
      () => this.bench.site.keepCoefficients(),
      'The coefficients of the file are let go; those that came with this program serve again.',
    );

  async #try(task: () => Promise<void>, said?: string): Promise<void> {
    try {
      await task();
      if (said !== undefined) this.#say(said);
    } catch (error) {
      this.#say(messageOf(error), true);
    }
  }

  #say(words: string, isFault = false, part: Part = 'place') {
    this.said = { part, words };
    this.isFault = isFault;
  }
}

type Part = 'check' | 'place';

const findings = (all: readonly Finding[]) =>
  html`<ul class="findings">
    ${all.map(
      ({ name, figure, words, standing }) =>
        html`<li class=${standing}>
          ${shape(standing)}
          <div>
            <h4>
              ${name}${standing === 'good' ? nothing : html`<span class="unseen">, not normal</span>`}
            </h4>
            <p class="figure">${figure}</p>
            <p class="note">${words}</p>
          </div>
        </li>`,
    )}
  </ul>`;

declare global {
  interface HTMLElementTagNameMap {
    'site-view': SiteView;
  }
}
