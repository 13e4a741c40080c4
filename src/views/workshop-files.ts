import { html } from 'lit';
import type { WorkshopDesk } from '../steps/workshop/workshop-desk.ts';
import { saveFile } from './save-file.ts';

/** What another computer took out of a workshop, or of its logbook. */
export function bringInWorkshop(desk: WorkshopDesk) {
  return html`<section class="sheet" aria-labelledby="bring-in-heading">
    <h3 id="bring-in-heading">From another computer</h3>
    <p>
      Where several computers have boards linked, each takes its file out and the others bring it
      in: rosters and boards become one. What is here already is passed over, and nothing that is
      here is changed.
    </p>
    <label class="file">
      Workshop or logbook file (JSON)
      <input
        type="file"
        accept=".json,application/json"
        ?disabled=${desk.state.work !== undefined}
        @change=${(event: Event) => {
          const input = event.target as HTMLInputElement;
          const file = input.files?.[0];
          if (!file) return;
          void desk.bringIn(file).finally(() => {
            input.value = ''; // so that the same file can be chosen again
          });
        }}
      />
    </label>
  </section>`;
}

/** This workshop, for other computers. */
export function takeOutWorkshop(desk: WorkshopDesk) {
  return html`<section class="sheet" aria-labelledby="take-out-heading">
    <h3 id="take-out-heading">For another computer</h3>
    <p>The roster, and all that this computer knows of its boards. Nothing here is changed.</p>
    <button
      type="button"
      ?disabled=${desk.state.work !== undefined}
      @click=${async () => {
        const file = await desk.takeOut();
        if (file) saveFile(file);
      }}
    >
      Take out this workshop (JSON)
    </button>
  </section>`;
}
