import { html, nothing } from 'lit';
import { customElement, property } from 'lit/decorators.js';
import { boardFacts, coefficientTables, storedReadings } from '../steps/board-words.ts';
import type { PlaceState } from '../steps/place-state.ts';
import { View } from './view.ts';
import { factList } from './fact-list.ts';

/** What the board is and what is on it, as it was saved in the logbook. */
@customElement('board-view')
export class BoardView extends View {
  @property({ attribute: false }) state!: PlaceState;

  protected override render() {
    const { history } = this.state;
    const { unreadable = [] } = history;
    const tables = coefficientTables(history);
    const stored = storedReadings(history);
    return html`
      ${factList(boardFacts(history))}
      ${
        tables.length === 0
          ? html`<p>
              No coefficients were ever sealed on it: it gives raw counts and no angles yet.
            </p>`
          : html`<details>
              <summary>Coefficients on the board</summary>
              ${tables.map(
                ({ title, rows }) => html`
                  <div class="scroll" tabindex="0" role="region" aria-label=${title}>
                    <table class="numbers">
                      <caption>
                        ${title}
                      </caption>
                      <tbody>
                        ${rows.map(
                          ({ name, values }) =>
                            html`<tr>
                              <th scope="row">${name}</th>
                              ${values.map((value) => html`<td>${value}</td>`)}
                            </tr>`,
                        )}
                      </tbody>
                    </table>
                  </div>
                `,
              )}
            </details>`
      }
      ${
        stored.length === 0
          ? nothing
          : html`<details>
              <summary>Readings found on the board: ${stored.length}</summary>
              <div
                class="scroll"
                tabindex="0"
                role="region"
                aria-label="Readings found on the board"
              >
                <table class="numbers">
                  <thead>
                    <tr>
                      <th scope="col">Reading</th>
                      <th scope="col">Generation</th>
                      <th scope="col">Accelerometer, counts</th>
                      <th scope="col">Magnetometer, counts</th>
                    </tr>
                  </thead>
                  <tbody>
                    ${stored.map(
                      ({ number, generation, acc, mag }) =>
                        html`<tr>
                          <th scope="row">${number}</th>
                          <td>${generation}</td>
                          <td>${acc}</td>
                          <td>${mag}</td>
                        </tr>`,
                    )}
                  </tbody>
                </table>
              </div>
            </details>`
      }
      ${
        unreadable.length === 0
          ? nothing
          : html`<h3>Readings on the board that make no sense</h3>
              <ul>
                ${unreadable.map(
                  ({ reading, reason }) =>
                    html`<li><strong>Reading ${reading}.</strong> ${reason}</li>`,
                )}
              </ul>`
      }
    `;
  }
}
