import { bytesOf, UNREADABLE } from '../steps/chosen-file.ts';
import { html, nothing } from 'lit';
import { customElement, state } from 'lit/decorators.js';
import { isStarted, openUpdate } from '../steps/care/care-history.ts';
import { careOf, type ChosenFirmware } from '../steps/care/care-state.ts';
import { firmwareFacts, imageFacts, spareVersion, updateWords } from '../steps/care/care-words.ts';
import { MADE_UP_FIRMWARE, madeUpImage } from '../steps/care/made-up-firmware.ts';
import { CareView } from './care-view.ts';
import { saveFile } from './save-file.ts';
import { shape } from './shapes.ts';

/** A board's firmware: what runs, what a file holds, what will happen, and how to come back. */
@customElement('care-firmware')
export class CareFirmware extends CareView {
  @state() private said = '';

  protected override render() {
    const { image, chosen } = careOf(this.state);
    const { update: latest } = this.state.history.care;
    const open = openUpdate(this.state.history.care);
    const update = updateWords(this.state);
    return html`
      ${image ? this.facts(firmwareFacts(image)) : nothing}
      ${
        update && latest
          ? html`<div class="verdict ${update.shape}">
              ${shape(update.shape)}
              <div>
                <h3>${update.heading}</h3>
                ${update.words.map((each) => html`<p>${each}</p>`)}
              </div>
            </div>`
          : nothing
      }
      ${
        open && isStarted(open)
          ? nothing
          : chosen
            ? this.#chosen(chosen, open?.crc)
            : this.#choose(open?.to)
      }
      ${
        open?.phase === 'sending'
          ? html`<div class="offers">
              ${this.button(`Give version ${open.to} up`, () => this.care.giveUpFirmware())}
            </div>`
          : nothing
      }
      ${image && !open ? this.#spare(spareVersion(image), image.running) : nothing}
      ${this.#madeUp()}
      <p role="status">${this.said}</p>
    `;
  }

  #choose(underWay: string | undefined) {
    return html`<label class="field"
        >${underWay === undefined ? 'A file of firmware' : `The file of version ${underWay} again`}
        <input
          type="file"
          ?disabled=${!this.able}
          @change=${(event: Event) => void this.#read(event.target as HTMLInputElement)}
        />
      </label>
      <p class="note">
        It is looked at first: what its header says, whether it fits, and what it will do. Nothing
        is sent before you say so.
      </p>`;
  }

  #chosen({ name, judgement }: ChosenFirmware, underWay: string | undefined) {
    const { image, unfit, words } = judgement;
    const goesOn = image !== undefined && image.crc === underWay;
    return html`
      <h3>${name}</h3>
      ${image ? this.facts(imageFacts(image)) : nothing}
      ${
        unfit.length > 0
          ? html`<div class="verdict bad">
              ${shape('bad')}
              <div>
                <h4>It cannot go onto this board now</h4>
                ${unfit.map((each) => html`<p>${each.words}</p>`)}
              </div>
            </div>`
          : html`<h4>What will happen, and how to come back</h4>
              <ul>
                ${words.map((each) => html`<li>${each}</li>`)}
              </ul>`
      }
      <div class="offers">
        ${
          unfit.length === 0
            ? this.button(
                goesOn ? 'Go on sending it' : `Put version ${image?.version} on the board`,
                () => this.care.updateFirmware(),
                'main',
              )
            : nothing
        }
        <button type="button" @click=${() => this.care.dropFirmware()}>Not this file</button>
      </div>
    `;
  }

  #spare(version: string | undefined, running: string) {
    if (version === undefined) return nothing;
    return html`
      <h3>The firmware before</h3>
      <p>
        Version ${version} is still in the spare slot. Bringing it back goes as any other change:
        settings, coefficients and readings are saved first and put back afterwards, and version
        ${running} is in the spare slot then.
      </p>
      <div class="offers">
        ${this.button(`Bring version ${version} back`, () => this.care.bringBackFirmware())}
      </div>
    `;
  }

  /** A simulated board runs no program, so its firmware can be made up. */
  #madeUp() {
    const { simulator, history } = this.state;
    const hardware = history.identity?.hardware;
    if (!simulator || hardware === undefined) return nothing;
    return html`<details>
      <summary>Firmware to try this with</summary>
      <p>This board is simulated, and so may its firmware be. Save a file, then choose it above.</p>
      <ul class="plain snapshots">
        ${MADE_UP_FIRMWARE.map(
          (each) =>
            html`<li>
              <button
                type="button"
                @click=${() => {
                  const content = madeUpImage(each, hardware).slice();
                  const type = 'application/octet-stream';
                  this.said = saveFile({ name: each.name, content, type });
                }}
              >
                Save version ${each.version}
              </button>
              <span>${each.words}</span>
            </li>`,
        )}
      </ul>
    </details>`;
  }

  async #read(input: HTMLInputElement) {
    const [file] = input.files ?? [];
    if (!file || !this.able) return;
    const bytes = await bytesOf(file);
    if (bytes) await this.care.chooseFirmware(file.name, bytes);
    else this.said = UNREADABLE;
  }
}
