import { html, nothing } from 'lit';
import { customElement, property } from 'lit/decorators.js';
import type { BenchState } from '../steps/bench-state.ts';
import { coverageOf } from '../steps/plan-coverage.ts';
import { openProofSlots, proofWords, truthWords, PROOF_SIGHTINGS } from '../steps/proof.ts';
import './net-picture.ts';
import { shape } from './shapes.ts';
import { View } from './view.ts';

/** Whether fresh readings bear the sealed coefficients out. */
@customElement('proof-view')
export class ProofView extends View {
  @property({ attribute: false }) state!: BenchState;

  protected override render() {
    const { calibration } = this.state.history;
    if (!calibration) return nothing;
    const { proofReadings, proof, truth } = calibration;
    const next = openProofSlots(proofReadings)[0];
    return html`
      ${
        proof
          ? html`<div class="verdict ${proof.passed ? 'good' : 'bad'}">
                ${shape(proof.passed ? 'good' : 'bad')}
                <p class="large">
                  ${proof.passed ? 'Passed' : 'Not passed'}, over ${proof.readings.length} fresh
                  readings of generation ${proof.generation}.
                </p>
              </div>
              <ul class="findings">
                ${proofWords(proof).map(
                  ({ name, figure, words, good }) =>
                    html`<li class=${good ? 'good' : 'bad'}>
                      ${shape(good ? 'good' : 'bad')}
                      <div>
                        <h3>
                          ${name}<span class="unseen"
                            >, ${good ? 'within' : 'out of'} tolerance</span
                          >
                        </h3>
                        <p class="figure">${figure}</p>
                        <p class="note">${words}</p>
                      </div>
                    </li>`,
                )}
              </ul>
              ${
                truth
                  ? html`<h3>Against the truth</h3>
                      <p>Only a simulated board can tell it.</p>
                      <dl class="facts">
                        ${truthWords(truth).map(
                          ({ name, value }) =>
                            html`<div>
                              <dt>${name}</dt>
                              <dd>${value}</dd>
                            </div>`,
                        )}
                      </dl>`
                  : nothing
              }
              ${proof.warnings.map((warning) => html`<p>${shape('watch')} ${warning}</p>`)}
              <h3>What this proof cannot see</h3>
              <ul>
                ${proof.blindTo.map((each) => html`<li>${each}</li>`)}
              </ul>`
          : nothing
      }
      <net-picture
        .covered=${coverageOf(PROOF_SIGHTINGS, proofReadings, proof ? undefined : next)}
      ></net-picture>
    `;
  }
}
