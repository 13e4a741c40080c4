import { html, nothing } from 'lit';
import type { WorkshopDesk } from '../steps/workshop/workshop-desk.ts';
import { exchangeTrouble } from './exchange-trouble.ts';

/** What is being done, what came of it, and what went wrong. */
export function workshopTold(desk: WorkshopDesk) {
  const { work, said, trouble } = desk.state;
  return html`<p class="workshop-said" role="status">${work === undefined ? said : `${work}…`}</p>
    ${
      trouble
        ? html`<div class="sheet notice trouble" role="alert">
            <div>
              <h3>${trouble.heading}</h3>
              ${exchangeTrouble(trouble, () => void desk.bringInAllTheSame())}
            </div>
          </div>`
        : nothing
    }`;
}
