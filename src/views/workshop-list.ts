import { html } from 'lit';
import { customElement, property } from 'lit/decorators.js';
import { dayWords } from '../steps/time-words.ts';
import type { WorkshopDesk, WorkshopTerms } from '../steps/workshop/workshop-desk.ts';
import { workshopAddress } from './page-part.ts';
import { View } from './view.ts';
import { bringInWorkshop } from './workshop-files.ts';
import './workshop-terms.ts';
import { workshopTold } from './workshop-told.ts';

/** Every workshop, and the way to a new one. */
@customElement('workshop-list')
export class WorkshopList extends View {
  @property({ attribute: false }) desk!: WorkshopDesk;
  @property({ attribute: false }) today!: Date;

  protected override follows() {
    return [this.desk];
  }

  protected override render() {
    const { workshops } = this.desk.state;
    return html`
      <h2 id="logbook-heading" tabindex="-1">Workshop</h2>
      <p>
        Several kits built and calibrated together: who builds which, how far each is, and what came
        of it, on one page for the room.
      </p>
      ${workshopTold(this.desk)}
      ${
        workshops === undefined
          ? html`<p>Reading the logbook…</p>`
          : html`<ul class="board-list">
              ${workshops.map(
                ({ paper, name, firstTime }) =>
                  html`<li class="sheet">
                    <a href=${workshopAddress(paper)}
                      ><bdi>${name ?? 'A workshop without a name'}</bdi></a
                    >
                    <p class="note">Set out on ${dayWords(firstTime)}</p>
                  </li>`,
              )}
            </ul>`
      }
      <section class="sheet" aria-labelledby="new-workshop-heading">
        <h3 id="new-workshop-heading">A new workshop</h3>
        <p>If another computer has set it out already, bring its file in instead.</p>
        <workshop-terms
          .today=${this.today}
          .send=${this.#begin}
          offer="Set out the workshop"
        ></workshop-terms>
      </section>
      ${bringInWorkshop(this.desk)}
    `;
  }

  #begin = async (terms: WorkshopTerms) => {
    const paper = await this.desk.begin(terms);
    if (paper !== undefined) location.hash = workshopAddress(paper);
  };
}

declare global {
  interface HTMLElementTagNameMap {
    'workshop-list': WorkshopList;
  }
}
