import { html, nothing } from 'lit';
import { customElement, property, state } from 'lit/decorators.js';
import type { Bench } from '../steps/bench.ts';
import { exchangeTrouble } from './exchange-trouble.ts';
import { View } from './view.ts';

/** Brings a logbook file in, and says what came of it. */
@customElement('bring-in-view')
export class BringInView extends View {
  @property({ attribute: false }) bench!: Bench;
  @state() private isOver = false;

  protected override follows() {
    return [this.bench.exchange];
  }

  protected override render() {
    const { work, said, trouble } = this.bench.exchange.state;
    return html`<section
      class=${this.isOver ? 'sheet over' : 'sheet'}
      aria-labelledby="bring-in-heading"
      @dragover=${(event: DragEvent) => this.#over(event)}
      @dragleave=${() => (this.isOver = false)}
      @drop=${(event: DragEvent) => this.#dropped(event)}
    >
      <h3 id="bring-in-heading">Bring in</h3>
      <p>
        A logbook file that was taken out here or at another bench: choose it, or drop it here. What
        is here already is passed over, and nothing that is here is changed.
      </p>
      <label class="file">
        Logbook file (JSON)
        <input
          type="file"
          accept=".json,application/json"
          ?disabled=${work !== undefined}
          @change=${(event: Event) => this.#chosen(event.target as HTMLInputElement)}
        />
      </label>
      <p role="status">${work === undefined ? said : `${work}…`}</p>
      ${
        trouble
          ? html`<div class="trouble" role="alert">
              <h4>${trouble.heading}</h4>
              ${exchangeTrouble(trouble, () => void this.bench.exchange.bringInAllTheSame())}
            </div>`
          : nothing
      }
    </section>`;
  }

  #over(event: DragEvent): void {
    event.preventDefault(); // else the browser opens the file in place of this page
    this.isOver = true;
  }

  #dropped(event: DragEvent): void {
    event.preventDefault();
    this.isOver = false;
    const file = event.dataTransfer?.files[0];
    if (file) void this.bench.exchange.bringIn(file);
  }

  #chosen(input: HTMLInputElement): void {
    const file = input.files?.[0];
    if (!file) return;
    void this.bench.exchange.bringIn(file).finally(() => {
      input.value = ''; // so that the same file can be chosen again
    });
  }
}

declare global {
  interface HTMLElementTagNameMap {
    'bring-in-view': BringInView;
  }
}
