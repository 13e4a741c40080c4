import { html, nothing } from 'lit';
import type { SealingWords } from '../steps/sealing-words.ts';
import { factList } from './fact-list.ts';

/**
 * What a dialog asks before the board is written to. Its heading has the focus first, so that it opens at its beginning.
 *
 * @param headingId of the heading, by which the dialog is labelled
 * @param wish called once, with whether it is to be written
 */
export function sealingForm(
  { against, changes, comparison, saved, back }: SealingWords,
  headingId: string,
  wish: (write: boolean) => void,
) {
  const submit = (event: SubmitEvent) =>
    wish((event.submitter as HTMLButtonElement | null)?.value === 'write');
  return html`<form method="dialog" @submit=${submit}>
    <h2 id=${headingId} tabindex="-1" autofocus>Write to the board</h2>
    ${
      against
        ? html`<h3>What speaks against it</h3>
            <p>${against}</p>`
        : nothing
    }
    <h3>What will change</h3>
    <p>${changes}</p>
    ${
      comparison
        ? html`<p>${comparison.lead}</p>
            ${comparison.rows.length > 0 ? factList(comparison.rows) : nothing}`
        : nothing
    }
    <h3>What was saved</h3>
    <p>${saved}</p>
    <h3>How to come back</h3>
    <p>${back}</p>
    <div class="offers">
      <button type="submit" value="write" class="main">Stage, check and seal</button>
      <button type="submit" value="">Not now</button>
    </div>
  </form>`;
}
