import { html, nothing } from 'lit';
import { customElement, property, state } from 'lit/decorators.js';
import {
  leaveOffers,
  reportFiles,
  reportWords,
  type BoardCheck,
  type FailedCheck,
  type Leave,
  type Report,
} from '../steps/board-check.ts';
import { fileName } from '../steps/file-out.ts';
import type { PlaceState } from '../steps/place-state.ts';
import { saveFile } from './save-file.ts';
import { shape } from './shapes.ts';
import { View } from './view.ts';

/** For whoever builds boards: checks that the linked one speaks the protocol, and shows what came of it. */
@customElement('conformance-view')
export class ConformanceView extends View {
  @property({ attribute: false }) check!: BoardCheck;
  @property({ attribute: false }) state!: PlaceState;
  @state() private said = '';

  protected override render() {
    const { history, link, work } = this.state;
    const able = link.state === 'linked' && work === undefined;
    const report = this.check.reportOn(history.identity?.serial);
    return html`
      <p>
        Asks the board everything that the protocol page (SPEC.md) says, rightly and wrongly, and
        reports what it does otherwise. It takes a minute or less. Without your leave nothing that
        the board keeps is changed; what is changed with it is put back.
      </p>
      <form @submit=${this.#submit}>
        <fieldset>
          <legend>It may</legend>
          ${leaveOffers(history).map(
            ({ name, label, note }) =>
              html`<label class="choice"
                ><input type="checkbox" name=${name} />
                <span>${label} <span class="note">${note}</span></span></label
              >`,
          )}
        </fieldset>
        <button type="submit" aria-disabled=${able ? 'false' : 'true'}>
          Check that it speaks the protocol
        </button>
      </form>
      ${report ? this.#report(report, able) : nothing}
      <p role="status">${this.said}</p>
    `;
  }

  #report(report: Report, able: boolean) {
    const { board, verdict, sound, failed, untried, passed, left, asFound, lines, canPutRight } =
      reportWords(report);
    return html`
      <h3 class="verdict ${sound ? 'good' : 'bad'}">
        ${shape(sound ? 'good' : 'bad')} <span>${verdict}</span>
      </h3>
      <p class="note">${board}</p>
      <div class="offers">
        ${reportFiles(report).map(
          ({ ending, type, label, text }) =>
            html`<button type="button" @click=${() => this.#save(text, type, ending)}>
              ${label}
            </button>`,
        )}
      </div>
      ${failed.map(failedCheck)}
      <h3>The board now</h3>
      ${asFound ? nothing : html`<p><strong>It is not as it was found.</strong></p>`}
      ${left.map((sentence) => html`<p>${sentence}</p>`)}
      ${
        canPutRight
          ? html`<p>
              <button
                type="button"
                aria-disabled=${able ? 'false' : 'true'}
                @click=${() => able && void this.check.putRight()}
              >
                Put back what was changed
              </button>
              <span class="note">${able ? '' : 'As soon as the board is linked.'}</span>
            </p>`
          : nothing
      }
      ${
        lines.length > 0
          ? html`<p>
                ${canPutRight ? 'Or, over any terminal, send' : 'To put it right, send over any terminal'},
                in this order:
              </p>
              ${box(lines, 'Lines that put the board right')}`
          : nothing
      }
      ${
        untried.length > 0
          ? html`<details>
              <summary>
                Not tried: ${untried.reduce((sum, { names }) => sum + names.length, 0)}
              </summary>
              <dl>
                ${untried.map(
                  ({ why, names }) =>
                    html`<dt>${why[0]!.toUpperCase()}${why.slice(1)}</dt>
                      <dd>${names.join('; ')}</dd>`,
                )}
              </dl>
            </details>`
          : nothing
      }
      <details>
        <summary>Passed: ${passed.length}</summary>
        <ul>
          ${passed.map((name) => html`<li>${name}</li>`)}
        </ul>
      </details>
    `;
  }

  #submit(event: SubmitEvent) {
    event.preventDefault();
    const { link, work } = this.state;
    if (link.state !== 'linked' || work !== undefined) return;
    const form = new FormData(event.target as HTMLFormElement);
    const leave: Leave = {};
    for (const { name } of leaveOffers(this.state.history)) leave[name] = form.has(name);
    if (leave.firstSeal) leave.seal = true;
    this.said = '';
    void this.check.run(leave);
  }

  #save(text: string, type: string, ending: string) {
    const serial = this.state.history.identity?.serial ?? 'board';
    const time = new Date().toISOString().slice(0, 19);
    const name = fileName(['protocol check', serial, time], ending);
    this.said = saveFile({ name, content: text, type });
  }
}

function failedCheck({ name, rule, findings, more }: FailedCheck) {
  return html`<section class="failed-check">
    <h3>${shape('bad')} <span>${name}</span></h3>
    <p>${rule}</p>
    ${findings.map(
      ({ lines, wanted }) =>
        html`${box(lines, `What was sent and what came: ${name}`)}
        ${wanted === undefined ? nothing : html`<p>Wanted: ${wanted}</p>`}`,
    )}
    ${more > 0 ? html`<p class="note">And ${more} times more: the saved report has them all.</p>` : nothing}
  </section>`;
}

/** Lines as they crossed the wire; long ones are scrolled to. */
function box(lines: readonly string[], label: string) {
  return html`<div class="scroll" tabindex="0" role="region" aria-label=${label}>
    <pre class="wire-lines">${lines.join('\n')}</pre>
  </div>`;
}
