import { html, nothing } from 'lit';
import { customElement, property } from 'lit/decorators.js';
import { compareBits, runsSealed, type BoardHistory } from '../steps/calibration-state.ts';
import { ownAnglesWords, sealFailedWords } from '../steps/sealing-words.ts';
import { shape } from './shapes.ts';
import { View } from './view.ts';

/** What was written to the board, and that it arrived. */
@customElement('sealing-view')
export class SealingView extends View {
  @property({ attribute: false }) history!: BoardHistory;

  protected override render() {
    const { calibration, inForce, previous } = this.history;
    const { sealBegun, sealed, sealFailed, reverted } = calibration ?? {};
    const staged = calibration?.staged.at(-1);
    const comparison = sealed && inForce ? compareBits(sealed.set, inForce) : undefined;
    return html`<ul class="findings">
      ${staged ? this.#step('good', 'Staged and checked', `The board holds a set with check ${staged.crc}.`) : nothing}
      ${
        sealBegun
          ? this.#step('waiting', 'Sealing', 'The answer is not known yet. Link the board again.')
          : nothing
      }
      ${sealFailed ? this.#step('bad', 'Not sealed', sealFailedWords(sealFailed)) : nothing}
      ${
        sealed
          ? this.#step(
              'good',
              'Sealed',
              `Generation ${sealed.generation} in place of ${sealed.replaced === 0 ? 'none' : `generation ${sealed.replaced}`}, known by ${sealed.known === 'answer' ? 'the board’s answer' : 'reading back'}.`,
            )
          : nothing
      }
      ${
        comparison && runsSealed(this.history)
          ? this.#step(
              comparison.equal ? 'good' : 'bad',
              'Read back and compared',
              comparison.equal
                ? `All ${comparison.numbers} numbers are equal, bit by bit.`
                : `${comparison.different} of ${comparison.numbers} numbers differ. Do not use it: go back to the coefficients before.`,
            )
          : nothing
      }
      ${sealed && !reverted ? this.#ownAngles() : nothing}
      ${
        sealed && !reverted
          ? this.#step(
              'ahead',
              'The way back',
              previous
                ? `Generation ${previous.generation} is still on the board: “Go back to the coefficients before” puts it in force again.`
                : 'The board has no earlier generation to go back to.',
            )
          : nothing
      }
      ${
        reverted
          ? this.#step(
              'good',
              'Gone back',
              `The coefficients before are in force again, as generation ${reverted.generation}.`,
            )
          : nothing
      }
    </ul>`;
  }

  #ownAngles() {
    const own = ownAnglesWords(this.history);
    const heading = 'The board’s own angles against ours';
    return own
      ? this.#step(own.agrees ? 'good' : 'bad', heading, own.words)
      : this.#step('ahead', heading, 'Held against each other with the first fresh reading.');
  }

  #step(kind: 'good' | 'bad' | 'waiting' | 'ahead', heading: string, words: string) {
    return html`<li class=${kind}>
      ${shape(kind)}
      <div>
        <h3>${heading}</h3>
        <p>${words}</p>
      </div>
    </li>`;
  }
}
