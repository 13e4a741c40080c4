import { html, nothing } from 'lit';
import { customElement, property, state } from 'lit/decorators.js';
import { live } from 'lit/directives/live.js';
import type { Bench } from '../steps/bench.ts';
import type { CourseDesk } from '../steps/course/course-desk.ts';
import { anglesOf, type ShotForm } from '../steps/course/course-forms.ts';
import {
  instrumentKey,
  shotsOfNoLeg,
  type CourseState,
  type OutingState,
  type ShotState,
} from '../steps/course/course-state.ts';
import { ownAngles, signed, sourceWords } from '../steps/course/course-words.ts';
import type { MemoryProposal } from '../steps/course/from-memory.ts';
import { placeName } from '../steps/course/matching.ts';
import { placeOn, type ShotPlace } from '../steps/course/shot-places.ts';
import { timeWords } from '../steps/time-words.ts';
import { field, problemList } from './check-course-forms.ts';
import { saveFile } from './save-file.ts';
import { shape } from './shapes.ts';
import { View } from './view.ts';

/** An azimuth with two decimals, of which 359.997° is 0.00°. */
const around = (azimuth: number): string => `${(Number(azimuth.toFixed(2)) % 360).toFixed(2)}°`;

const figure = (name: string, angle: number | undefined, words: (angle: number) => string) =>
  html`<td class="figure" data-name=${name}>${angle === undefined ? '–' : words(angle)}</td>`;

/** The shots of an outing, and the ways to add more. */
@customElement('check-course-shots')
export class CheckCourseShots extends View {
  @property({ attribute: false }) bench!: Bench;
  @property({ attribute: false }) desk!: CourseDesk;
  @property({ attribute: false }) course!: CourseState;
  @property({ attribute: false }) outing!: OutingState;
  @property({ type: Boolean }) readOnly = false;
  @state() private form: ShotForm = { instrument: '', azimuth: '', inclination: '' };
  /** Of the place of a shot typed by hand, among all places. */
  @state() private placeAt = 0;
  /** When that shot was taken, as a box for times has it, such as 14:05; empty where nobody wrote it down. */
  @state() private takenAt = '';
  @state() private problems: readonly string[] = [];
  @state() private board = '';
  @state() private by: 'order' | 'nearness' = 'order';
  @state() private proposed: readonly { proposal: MemoryProposal; place: ShotPlace | undefined }[] =
    [];
  @state() private saved = '';

  protected override render() {
    const { shots } = this.outing;
    return html`
      ${this.readOnly ? nothing : this.#who()}
      ${shots.length === 0 ? html`<p>No shot yet.</p>` : this.#table()}
      ${
        this.readOnly
          ? nothing
          : html`<details>
                <summary>Add shots by hand</summary>
                ${this.#byHand()}
              </details>
              <details>
                <summary>Add shots from a file</summary>
                ${this.#fromFile()}
              </details>
              <details>
                <summary>Add shots from a board’s memory</summary>
                ${this.#fromMemory()}
              </details>`
      }
      ${
        shots.length === 0
          ? nothing
          : html`<div class="offers">
                <button type="button" @click=${this.#save}>Save the shots as CSV</button>
              </div>
              <p role="status">${this.saved}</p>`
      }
    `;
  }

  /** All places, each once. */
  get #places(): ShotPlace[] {
    return this.course.layout.legs.flatMap((leg) => [placeOn(leg, 'fore'), placeOn(leg, 'back')]);
  }

  #who() {
    const { desk } = this;
    const { boards } = desk;
    const { shooter } = desk.state;
    if (boards.length === 0) return nothing;
    const key = shooter ? instrumentKey(shooter) : '';
    const next = desk.nextPlace;
    return html`<div class="fields">
      <label class="field"
        >Which board shoots now
        <select
          @change=${(event: Event) => {
            const serial = (event.target as HTMLSelectElement).value;
            void desk.choose(serial === '' ? undefined : { board: serial });
          }}
        >
          <option value="" .selected=${live(key === '')}>None</option>
          ${boards.map(
            ({ serial }) =>
              html`<option value=${serial!} .selected=${live(key === `board ${serial}`)}>
                ${desk.nameOf({ board: serial! })}
              </option>`,
          )}
        </select>
      </label>
      ${
        shooter
          ? html`<label class="field"
              >Its next shot
              <select
                @change=${(event: Event) => {
                  const place = this.#places[Number((event.target as HTMLSelectElement).value)];
                  if (place) desk.choosePlace(place);
                }}
              >
                ${next ? nothing : html`<option value="" .selected=${true}>All are shot</option>`}
                ${this.#places.map(
                  (place, i) =>
                    html`<option
                      value=${i}
                      .selected=${live(next?.at === place.at && next.aimed === place.aimed)}
                    >
                      ${placeName(place)}
                    </option>`,
                )}
              </select>
            </label>`
          : nothing
      }
    </div>`;
  }

  #table() {
    const { shots, settled } = this.outing;
    const doubted = new Map(settled?.result.doubted.map(({ shot, words }) => [shot, words]));
    const { length: gone } = shotsOfNoLeg(this.outing);
    return html`<div class="scroll tall" tabindex="0" role="group" aria-label="Table of shots">
      <table class="course-table">
        <caption>
          ${shots.length === 1 ? '1 shot' : `${shots.length} shots`}${
            gone === 0
              ? ''
              : `, of which ${gone} ${gone === 1 ? 'does' : 'do'} not count: the course has no such leg`
          };
          azimuth from magnetic north
        </caption>
        <thead>
          <tr>
            <th scope="col">Instrument</th>
            <th scope="col">Shot</th>
            <th scope="col">Azimuth</th>
            <th scope="col">Inclination</th>
            <th scope="col">Where it came from</th>
            <th scope="col"><span class="unseen">What can be done</span></th>
          </tr>
        </thead>
        <tbody>
          ${shots.map((shot) => this.#row(shot, doubted.get(shot.id)))}
        </tbody>
      </table>
    </div>`;
  }

  #row(shot: ShotState, doubt: string | undefined) {
    const { instrument, leg, way, azimuth, inclination, source, setAside, taken, id } = shot;
    const name = placeName(placeOn(leg, way));
    const isGone = setAside === undefined && shot.noLeg;
    const own = ownAngles(source);
    const turned = 'turned' in source && source.turned !== undefined ? source.turned : 0;
    return html`<tr class=${setAside === undefined && !isGone ? '' : 'aside'}>
      <th scope="row">${this.desk.nameOf(instrument)}</th>
      <td>
        ${name}
        ${doubt && setAside === undefined ? html`<p class="note">${shape('watch')} ${doubt}</p>` : nothing}
        ${setAside === undefined ? nothing : html`<p class="note">Set aside: ${setAside}</p>`}
        ${
          isGone
            ? html`<p class="note">
                ${shape('watch')} Not counted: the course has no leg between ${leg.from} and
                ${leg.to}.
              </p>`
            : nothing
        }
      </td>
      ${figure('Azimuth', azimuth, around)} ${figure('Inclination', inclination, signed)}
      <td>
        ${sourceWords(source)}
        ${source.from === 'hand' && taken !== undefined ? html`<p class="note">${timeWords(taken)}</p>` : nothing}
        ${own === '' ? nothing : html`<p class="note">The board’s own: ${own}</p>`}
        ${turned === 0 ? nothing : html`<p class="note">Held ${signed(turned)} beside the mark, made up</p>`}
      </td>
      <td class="act">
        ${
          this.readOnly
            ? nothing
            : setAside === undefined
              ? html`<button
                  type="button"
                  aria-label=${`Set aside ${name} of ${this.desk.nameOf(instrument)}`}
                  @click=${() => this.desk.setAside(id, doubt ?? 'A person set it aside')}
                >
                  Set aside
                </button>`
              : html`<button
                  type="button"
                  aria-label=${`Take back ${name} of ${this.desk.nameOf(instrument)}`}
                  @click=${() => this.desk.takeBack(id)}
                >
                  Take back
                </button>`
        }
      </td>
    </tr>`;
  }

  #save = () => {
    const file = this.desk.shotsFile(this.outing);
    if (file) this.saved = saveFile(file);
  };

  // By hand

  #byHand() {
    const { form } = this;
    const at = this.#handPlaceAt;
    return html`<form class="course-form" novalidate @submit=${this.#addByHand}>
      <div class="fields">
        ${field('Instrument', form.instrument, (instrument) => this.#set({ instrument }), 'text')}
        <label class="field"
          >Shot
          <select
            @change=${(event: Event) => {
              this.placeAt = Number((event.target as HTMLSelectElement).value);
            }}
          >
            ${this.#places.map(
              (place, i) =>
                html`<option value=${i} .selected=${i === at}>${placeName(place)}</option>`,
            )}
          </select>
        </label>
        ${field('Azimuth, °, from magnetic north', form.azimuth, (azimuth) => this.#set({ azimuth }))}
        ${field('Inclination, °, up positive', form.inclination, (inclination) => this.#set({ inclination }))}
        <label class="field"
          >Time it was taken, if written down
          <input
            type="time"
            .value=${live(this.takenAt)}
            @change=${(event: Event) => {
              this.takenAt = (event.target as HTMLInputElement).value;
            }}
          />
        </label>
      </div>
      ${problemList(this.problems)}
      <div class="offers"><button type="submit">Add this shot</button></div>
    </form>`;
  }

  #set(change: Partial<ShotForm>) {
    this.form = { ...this.form, ...change };
  }

  /** The place that is shown: a course that was changed may have fewer of them. */
  get #handPlaceAt(): number {
    return this.placeAt < this.#places.length ? this.placeAt : 0;
  }

  #addByHand = async (event: SubmitEvent): Promise<void> => {
    event.preventDefault();
    const read = anglesOf(this.form);
    this.problems = read.ok ? [] : read.problems;
    const at = this.#handPlaceAt;
    const place = this.#places[at];
    if (!read.ok || !place) return;
    const { name, ...angles } = read.value;
    await this.desk.addByHand({
      instrument: this.desk.instrumentCalled(name),
      place,
      ...angles,
      // as the clock on the wall showed it on the day of the outing
      ...(this.takenAt !== '' && {
        taken: new Date(`${this.outing.day}T${this.takenAt}`).toISOString(),
      }),
    });
    this.form = { ...this.form, azimuth: '', inclination: '' };
    this.takenAt = '';
    this.placeAt = (at + 1) % this.#places.length;
  };

  // From a file

  #fromFile() {
    return html`<div class="course-form">
      <p class="note">
        CSV with the columns instrument, from, to, azimuth, inclination, and time if you like, in
        degrees, azimuth from magnetic north as the instrument showed it. A file is taken whole or
        not at all; brought in twice it adds nothing twice.
      </p>
      <label class="field"
        >File of shots (CSV)
        <input type="file" accept=".csv,text/csv" @change=${this.#addFile} />
      </label>
    </div>`;
  }

  #addFile = async (event: Event): Promise<void> => {
    const input = event.target as HTMLInputElement;
    const file = input.files?.[0];
    if (!file) return;
    await this.desk.addFromFile(file.name, new Uint8Array(await file.arrayBuffer()));
    input.value = ''; // the same file may be chosen again
  };

  // From memory

  #fromMemory() {
    const boards = this.bench.logbook.state.boards ?? [];
    if (boards.length === 0) {
      return html`<p>
        The logbook knows no board yet. Link one at the bench: its memory is saved then.
      </p>`;
    }
    return html`<div class="course-form">
      <p class="note">
        A board’s memory is saved in the logbook each time it is linked. Its readings are told apart
        by their order, if the course was walked as its places follow each other, or by where each
        points, once other shots have shown where the legs point.
      </p>
      <div class="fields">
        <label class="field"
          >Board
          <select
            @change=${(event: Event) => {
              this.board = (event.target as HTMLSelectElement).value;
              this.proposed = [];
            }}
          >
            <option value="" .selected=${this.board === ''}>Choose one</option>
            ${boards.map(
              ({ serial }) =>
                html`<option value=${serial} .selected=${serial === this.board}>
                  ${this.desk.nameOf({ board: serial })}
                </option>`,
            )}
          </select>
        </label>
        <label class="field"
          >Readings are told apart
          <select
            @change=${(event: Event) => {
              this.by = (event.target as HTMLSelectElement).value as 'order' | 'nearness';
              this.proposed = [];
            }}
          >
            <option value="order" .selected=${this.by === 'order'}>by their order</option>
            <option value="nearness" .selected=${this.by === 'nearness'}>
              by where they point
            </option>
          </select>
        </label>
      </div>
      <div class="offers">
        <button
          type="button"
          aria-disabled=${this.board === '' ? 'true' : 'false'}
          @click=${this.#propose}
        >
          Look at its readings
        </button>
      </div>
      ${this.proposed.length === 0 ? nothing : this.#proposals()}
    </div>`;
  }

  #propose = async (): Promise<void> => {
    if (this.board === '') return;
    const found = (await this.desk.proposeFromMemory(this.board, this.by)) ?? [];
    // what is doubtful is left out until a person says where it belongs
    this.proposed = found.map((proposal) => ({
      proposal,
      place: proposal.doubt === undefined ? proposal.place : undefined,
    }));
  };

  #proposals() {
    const kept = this.proposed.flatMap(({ proposal, place }) =>
      place ? [{ proposal, place }] : [],
    );
    return html`<ul class="course-proposals">
        ${this.proposed.map(({ proposal, place }, at) => {
          const { reading, azimuth, inclination, doubt } = proposal;
          return html`<li>
            <label class="field"
              >Reading ${reading.reading}: azimuth ${azimuth?.toFixed(1) ?? '–'}°, inclination
              ${inclination === undefined ? '–' : signed(inclination, 1)}
              <select
                @change=${(event: Event) => {
                  const chosen = this.#places[Number((event.target as HTMLSelectElement).value)];
                  this.proposed = this.proposed.map((each, i) =>
                    i === at ? { proposal, place: chosen } : each,
                  );
                }}
              >
                <option value="-1" .selected=${!place}>leave it out</option>
                ${this.#places.map(
                  (each, i) =>
                    html`<option
                      value=${i}
                      .selected=${place?.at === each.at && place.aimed === each.aimed}
                    >
                      ${placeName(each)}
                    </option>`,
                )}
              </select>
            </label>
            ${doubt ? html`<p class="note">${shape('watch')} ${doubt}</p>` : nothing}
          </li>`;
        })}
      </ul>
      <div class="offers">
        <button
          type="button"
          aria-disabled=${kept.length === 0 ? 'true' : 'false'}
          @click=${async () => {
            if (kept.length === 0) return;
            await this.desk.addFromMemory(this.board, kept);
            this.proposed = [];
          }}
        >
          Add ${kept.length} ${kept.length === 1 ? 'shot' : 'shots'}
        </button>
      </div>`;
  }
}

declare global {
  interface HTMLElementTagNameMap {
    'check-course-shots': CheckCourseShots;
  }
}
