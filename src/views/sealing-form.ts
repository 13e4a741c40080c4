import { html, nothing } from 'lit';
import type { SealingWords } from '../steps/sealing-words.ts';
import { factList } from './fact-list.ts';

/** Opens the dialog with the form at its beginning: the first button, which has the focus else, may be far below. */
export function askToSeal(dialog: HTMLDialogElement): void {
  dialog.showModal();
  dialog.querySelector('h2')?.focus();
}

/**
 * What a dialog asks before the board is written to.
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
    <h2 id=${headingId} tabindex="-1">Write to the board</h2>
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
