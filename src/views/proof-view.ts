import { html, nothing } from 'lit';
import { customElement, property } from 'lit/decorators.js';
import type { PlaceState } from '../steps/place-state.ts';
import { coverageOf } from '../steps/plan-coverage.ts';
import {
  openProofSlots,
  proofWords,
  truthWords,
  PROOF_SIGHTINGS,
  type FigureWords,
} from '../steps/proof.ts';
import './net-picture.ts';
import { reportLink } from './report-link.ts';
import { shape } from './shapes.ts';
import { View } from './view.ts';

/** Whether fresh readings bear the sealed coefficients out. */
@customElement('proof-view')
export class ProofView extends View {
  @property({ attribute: false }) state!: PlaceState;

  protected override render() {
    const { calibration } = this.state.history;
    if (!calibration) return nothing;
    const { proofReadings, proof, failedProofs, truth } = calibration;
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
            </div>`
          : nothing
      }
      ${failedProofs > 0 ? html`<p>${shape('watch')} ${failedWords(failedProofs)}</p>` : nothing}
      ${
        proof
          ? html`${this.#figures(proofWords(proof))}
              ${
                truth
                  ? html`<h3>Against the truth</h3>
                      <p>Only a simulated board can tell it.</p>
                      ${this.#figures(truthWords(truth))}`
                  : nothing
              }
              ${proof.warnings.map((warning) => html`<p>${shape('watch')} ${warning}</p>`)}
              <h3>What this proof cannot see</h3>
              <ul>
                ${proof.blindTo.map((each) => html`<li>${each}</li>`)}
              </ul>
              ${this.state.link.state === 'none' || !calibration.fit ? nothing : reportLink(calibration.board, calibration.id)}`
          : nothing
      }
      <net-picture
        .covered=${coverageOf(PROOF_SIGHTINGS, proofReadings, proof ? undefined : next)}
      ></net-picture>
    `;
  }

  #figures(figures: readonly FigureWords[]) {
    return html`<ul class="findings">
      ${figures.map(
        ({ name, figure, words, good }) =>
          html`<li class=${good ? 'good' : 'bad'}>
            ${shape(good ? 'good' : 'bad')}
            <div>
              <h3>${name}<span class="unseen">, ${good ? 'within' : 'out of'} tolerance</span></h3>
              <p class="figure">${figure}</p>
              <p class="note">${words}</p>
            </div>
          </li>`,
      )}
    </ul>`;
  }
}

const failedWords = (n: number) =>
  n === 1
    ? 'A proof before this one did not pass; it is in the logbook.'
    : `${n} proofs before this one did not pass; they are in the logbook.`;
