import { html, nothing } from 'lit';
import { customElement, property } from 'lit/decorators.js';
import type { BoardHistory } from '../steps/calibration-state.ts';
import { judge, settledWords, type Finding, type Standing } from '../steps/judgement.ts';
import { shape } from './shapes.ts';
import { View } from './view.ts';

const STANDING_WORDS: Record<Standing, string> = {
  good: 'within tolerance',
  watch: 'look at this',
  bad: 'out of tolerance',
};

/** Whether the fit is good enough, and why; or why there is none. */
@customElement('judgement-view')
export class JudgementView extends View {
  @property({ attribute: false }) history!: BoardHistory;

  protected override render() {
    const { calibration, identity } = this.history;
    const { refusal, fit } = calibration ?? {};
    if (refusal) {
      return html`<div class="verdict bad">
        ${shape('bad')}
        <div>
          <p class="large">No fit from these readings</p>
          <p>${refusal.message}</p>
          <p><strong>What to do:</strong> ${refusal.next}</p>
        </div>
      </div>`;
    }
    if (!fit || !identity) return nothing;
    const { standing, verdict, findings, blindTo, warnings } = judge(fit, identity);
    return html`
      ${
        fit.stale
          ? html`<p class="stale">
              ${shape('waiting')} The readings have changed since this fit: fit again.
            </p>`
          : nothing
      }
      <div class="verdict ${standing}">
        ${shape(standing)}
        <p class="large">${verdict}</p>
      </div>
      <ul class="findings">
        ${findings.map((finding) => this.#finding(finding))}
      </ul>
      ${
        warnings.length === 0
          ? nothing
          : html`<h3>Warnings</h3>
              <ul class="plain">
                ${warnings.map((warning) => html`<li>${shape('watch')} <span>${warning}</span></li>`)}
              </ul>`
      }
      <h3>What these figures cannot see</h3>
      <ul>
        ${blindTo.map((each) => html`<li>${each}</li>`)}
      </ul>
      <p class="note">Model: ${fit.coefficients.model}. ${settledWords(fit.iterations)}</p>
    `;
  }

  #finding({ name, figure, words, standing }: Finding) {
    return html`<li class=${standing}>
      ${shape(standing)}
      <div>
        <h3>${name}<span class="unseen">, ${STANDING_WORDS[standing]}</span></h3>
        <p class="figure">${figure}</p>
        <p class="note">${words}</p>
      </div>
    </li>`;
  }
}
