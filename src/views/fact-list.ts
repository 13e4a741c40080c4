import { html } from 'lit';

/** Names, each with what goes by it. */
export const factList = (
  facts: readonly ({ name: string } & ({ value: string } | { figure: string }))[],
  more = '',
) =>
  html`<dl class="facts ${more}">
    ${facts.map(
      (fact) =>
        html`<div>
          <dt>${fact.name}</dt>
          <dd>${'value' in fact ? fact.value : fact.figure}</dd>
        </div>`,
    )}
  </dl>`;
