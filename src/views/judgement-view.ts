import { html, nothing } from 'lit';
import { customElement, property } from 'lit/decorators.js';
import type { BoardHistory } from '../steps/calibration-state.ts';
import { judgementOf, settledWords, type Finding, type Standing } from '../steps/judgement.ts';
import { ORDINARY_TOLERANCE } from '../steps/tolerance.ts';
import { reportLink } from './report-link.ts';
import { shape } from './shapes.ts';
import './tolerance-choice.ts';
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
  /** Only to be looked at: the tolerance stays as it was chosen. */
  @property({ type: Boolean }) readOnly = false;

  protected override render() {
    const { calibration } = this.history;
    const { refusal, fit, tolerance } = calibration ?? {};
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
    const judgement = judgementOf(this.history);
    if (!fit || !judgement) return nothing;
    const { standing, verdict, findings, advice, notKnown, blindTo, warnings } = judgement;
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
      ${
        this.readOnly
          ? nothing
          : html`<tolerance-choice
              .tolerance=${tolerance ?? ORDINARY_TOLERANCE}
            ></tolerance-choice>`
      }
      ${
        notKnown.length === 0
          ? nothing
          : html`<h3>What is not known</h3>
              <ul>
                ${notKnown.map((each) => html`<li>${each}</li>`)}
              </ul>`
      }
      ${
        advice.length === 0
          ? nothing
          : html`<h3>Likely causes, and what to do</h3>
              <ol>
                ${advice.map(
                  ({ cause, then }) =>
                    html`<li>
                      <strong>${cause[0]!.toUpperCase()}${cause.slice(1)}.</strong> ${then}
                    </li>`,
                )}
              </ol>`
      }
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
      ${this.readOnly ? nothing : reportLink(calibration!.board, calibration!.id)}
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
