import { html, nothing } from 'lit';
import { customElement, property } from 'lit/decorators.js';
import { repeat } from 'lit/directives/repeat.js';
import { timeWords } from '../steps/time-words.ts';
import { kitName } from '../steps/workshop/kit-words.ts';
import type { WorkshopDesk, WorkshopNow } from '../steps/workshop/workshop-desk.ts';
import { View } from './view.ts';

/** Where the tutor puts kits on the roster, gives them their boards, and says which site check is for all. */
@customElement('workshop-kits')
export class WorkshopKits extends View {
  @property({ attribute: false }) desk!: WorkshopDesk;
  @property({ attribute: false }) now!: WorkshopNow;

  protected override follows() {
    return [this.desk];
  }

  protected override render() {
    return html`${this.#strangers()} ${this.#add()} ${this.#site()} ${this.#remarks()}
    ${this.#takenOff()}`;
  }

  #add() {
    return html`<section class="sheet" aria-labelledby="add-kits-heading">
      <h3 id="add-kits-heading">Add kits</h3>
      <form class="workshop-form" @submit=${this.#addLines}>
        <label class="field"
          >A line for each: serial number, who builds it, place on the bench
          <textarea
            name="lines"
            rows="4"
            spellcheck="false"
            autocomplete="off"
            placeholder="SIM-00000001, Ida, 1"
          ></textarea>
        </label>
        <p class="note">
          Typed, or pasted from a spreadsheet. What is not known yet is left empty: a kit may get
          its board later.
        </p>
        <p class="offers"><button type="submit">Add to the roster</button></p>
      </form>
    </section>`;
  }

  #strangers() {
    const { strangers } = this.desk.state;
    if (strangers.length === 0) return nothing;
    const without = this.now.kits.filter(({ serial }) => serial === '');
    return html`<section class="sheet" aria-labelledby="strangers-heading">
      <h3 id="strangers-heading">Linked here, and of no kit</h3>
      <ul class="plain workshop-strangers">
        ${repeat(
          strangers,
          ({ serial }) => serial, // what was chosen for one is not the choice for the next
          ({ serial, name }) => {
            const board = name ? `${name}, ${serial}` : serial;
            return html`<li>
              <strong><bdi>${board}</bdi></strong>
              ${
                without.length === 0
                  ? nothing
                  : html`<form class="workshop-give" @submit=${this.#give(serial)}>
                      <label class="field"
                        ><span>Give it to a kit<span class="unseen">: ${board}</span></span>
                        <select name="kit" required>
                          <option value="">Which kit?</option>
                          ${repeat(
                            without,
                            ({ kit }) => kit, // a choice stays the same kit when another is given its board
                            (row) => html`<option value=${row.kit}>${called(row)}</option>`,
                          )}
                        </select>
                      </label>
                      <button type="submit">Give it<span class="unseen">: ${board}</span></button>
                    </form>`
              }
              <button type="button" @click=${() => this.desk.addKits([{ serial }])}>
                Add as a kit<span class="unseen">: ${board}</span>
              </button>
            </li>`;
          },
        )}
      </ul>
      ${
        strangers.length > 1
          ? html`<p class="offers">
              <button
                type="button"
                @click=${() => this.desk.addKits(strangers.map(({ serial }) => ({ serial })))}
              >
                Add all ${strangers.length} as kits
              </button>
            </p>`
          : nothing
      }
    </section>`;
  }

  #site() {
    const { siteChecks } = this.desk.state;
    const { site } = this.now;
    return html`<section class="sheet" aria-labelledby="site-for-all-heading">
      <h3 id="site-for-all-heading">One site check for all</h3>
      <p>
        ${
          site
            ? html`The check by board ${site.board} of ${timeWords(site.checked)} stands for every
                kit: <strong>${SITE_WORDS[site.verdict] ?? site.verdict}</strong>.`
            : 'No check stands for all. It tells of one spot, at one time: take the readings near it, and check again where anything was moved.'
        }
      </p>
      ${
        siteChecks.length === 0
          ? html`<p class="note">
              At the bench, with any board in hand, the sheet “Is this place clean?” asks it; then
              it can be chosen here.
            </p>`
          : html`<ul class="plain workshop-checks">
              ${siteChecks.map(
                ({ board, checked, verdict }) =>
                  html`<li>
                    <button
                      type="button"
                      aria-disabled=${isSame(site, { board, checked }) ? 'true' : 'false'}
                      @click=${() => this.desk.checkSiteForAll(board)}
                    >
                      ${isSame(site, { board, checked }) ? 'Stands for all' : 'Let it stand for all'}
                      <span class="unseen">: board ${board}</span>
                    </button>
                    <span>
                      By board ${board}, ${timeWords(checked)}: ${SITE_WORDS[verdict] ?? verdict}
                    </span>
                  </li>`,
              )}
            </ul>`
      }
      ${
        site
          ? html`<p class="offers">
              <button type="button" @click=${() => this.desk.checkSiteForAll(undefined)}>
                Let no check stand for all
              </button>
            </p>`
          : nothing
      }
    </section>`;
  }

  #remarks() {
    const { remarks } = this.now;
    return html`<section class="sheet" aria-labelledby="remarks-heading">
      <h3 id="remarks-heading">Remarks on the workshop</h3>
      ${remarkList(remarks)} ${remarkForm((text) => this.desk.remark(text))}
    </section>`;
  }

  #takenOff() {
    const { takenOff } = this.now;
    if (takenOff.length === 0) return nothing;
    return html`<section class="sheet" aria-labelledby="taken-off-heading">
      <h3 id="taken-off-heading">Taken off the roster</h3>
      <ul class="plain workshop-checks">
        ${takenOff.map(
          (row) =>
            html`<li>
              <button type="button" @click=${() => this.desk.putBack(row.kit)}>
                Put back<span class="unseen">: ${called(row)}</span>
              </button>
              <bdi>${called(row)}</bdi>
            </li>`,
        )}
      </ul>
    </section>`;
  }

  #give = (serial: string) => async (event: SubmitEvent) => {
    event.preventDefault();
    const kit = String(new FormData(event.target as HTMLFormElement).get('kit') ?? '');
    if (kit !== '') await this.desk.giveBoard(kit, serial);
  };

  #addLines = async (event: SubmitEvent) => {
    event.preventDefault();
    const form = event.target as HTMLFormElement;
    const text = String(new FormData(form).get('lines') ?? '');
    if (await this.desk.addPasted(text)) form.reset();
  };
}

/** What a site check found, in a few words. */
export const SITE_WORDS: Readonly<Record<string, string>> = {
  clean: 'clean, as far as dip and length can tell',
  'nothing found': 'nothing found, which does not say much',
  disturbed: 'disturbed: move elsewhere',
  open: 'read at one spot only',
};

const isSame = (
  site: WorkshopNow['site'],
  { board, checked }: { board: string; checked: string },
): boolean => site?.board === board && site.checked === checked;

const called = (row: WorkshopNow['kits'][number]): string =>
  row.place && (row.builder || row.serial) ? `place ${row.place}, ${kitName(row)}` : kitName(row);

/** What people said. */
export const remarkList = (remarks: WorkshopNow['remarks']) =>
  remarks.length === 0
    ? nothing
    : html`<ul class="workshop-remarks">
        ${remarks.map(
          ({ text, time }) =>
            html`<li><bdi>${text}</bdi> <span class="note">${timeWords(time)}</span></li>`,
        )}
      </ul>`;

/** Asks for one more. @param write it; resolves with whether it was written */
export const remarkForm = (write: (text: string) => Promise<boolean>) =>
  html`<form
    class="workshop-form"
    @submit=${async (event: SubmitEvent) => {
      event.preventDefault();
      const form = event.target as HTMLFormElement;
      const text = String(new FormData(form).get('remark') ?? '').trim();
      if (text !== '' && (await write(text))) form.reset();
    }}
  >
    <label class="field"
      >In your words
      <input type="text" name="remark" maxlength="500" autocomplete="off" />
    </label>
    <p class="offers"><button type="submit">Write it down</button></p>
  </form>`;

declare global {
  interface HTMLElementTagNameMap {
    'workshop-kits': WorkshopKits;
  }
}
