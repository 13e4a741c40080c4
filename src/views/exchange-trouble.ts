import { html, nothing } from 'lit';
import type { ExchangeTrouble } from '../steps/logbook/exchange.ts';

/**
 * What is wrong with a file or a list that was given, place by place.
 *
 * @param allTheSame does it all the same, where that is offered
 */
export const exchangeTrouble = (trouble: ExchangeTrouble, allTheSame: () => void) =>
  html`<p>${trouble.message}</p>
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
        : html`<button type="button" @click=${allTheSame}>${trouble.allTheSame}</button>`
    }`;
