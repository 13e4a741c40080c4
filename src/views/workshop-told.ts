import { html, nothing } from 'lit';
import type { WorkshopDesk } from '../steps/workshop/workshop-desk.ts';

/** What is being done, what came of it, and what went wrong. */
export function workshopTold(desk: WorkshopDesk) {
  const { work, said, trouble } = desk.state;
  return html`<p class="workshop-said" role="status">${work === undefined ? said : `${work}…`}</p>
    ${
      trouble
        ? html`<div class="sheet notice trouble" role="alert">
            <div>
              <h3>${trouble.heading}</h3>
              <p>${trouble.message}</p>
              ${
                trouble.problems.length > 0
                  ? html`<ul>
                      ${trouble.problems.map(({ path, what }) => html`<li><code>${path}</code>: ${what}</li>`)}
                      ${trouble.others > 0 ? html`<li>and ${trouble.others} more</li>` : nothing}
                    </ul>`
                  : nothing
              }
              ${
                trouble.allTheSame === undefined
                  ? nothing
                  : html`<button type="button" @click=${() => desk.bringInAllTheSame()}>
                      ${trouble.allTheSame}
                    </button>`
              }
            </div>
          </div>`
        : nothing
    }`;
}
