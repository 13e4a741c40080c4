import { html, svg, nothing } from 'lit';
import { customElement, property } from 'lit/decorators.js';
import { coverageWords, gapWords, type CoveredSighting } from '../steps/plan-coverage.ts';
import { half, project, wedgePath } from './net-projection.ts';
import { View } from './view.ts';

/** Radius of a sighting's mark, the horizon being 1. */
const MARK = 0.17;
const RINGS = [30, 60];

/**
 * The attitudes of a plan on two equal-area nets, and their gaps in words. Each sighting is a disc of wedges, one for
 * each roll, the upright one at the top.
 */
@customElement('net-picture')
export class NetPicture extends View {
  @property({ attribute: false }) covered: readonly CoveredSighting[] = [];

  protected override render() {
    const gaps = gapWords(this.covered);
    return html`
      <figure class="net">
        <div class="discs">
          ${this.#disc('up', 'Level and upward')} ${this.#disc('down', 'Downward')}
        </div>
        <figcaption>
          <p class="tally">${coverageWords(this.covered)}</p>
          <ul class="key" aria-label="Key to the picture">
            ${this.#key('open', 'to take')} ${this.#key('taken', 'taken')}
            ${this.#key('aside', 'set aside')} ${this.#key('next', 'next')}
          </ul>
          <p class="key-words">
            Each disc is one sighting, seen from above with north at the top. Its wedges are the
            rolls, upright at the top.
          </p>
          ${
            gaps.length === 0
              ? html`<p>No gaps.</p>`
              : html`<details class="gaps">
                  <summary>
                    Gaps: ${gaps.length} ${gaps.length === 1 ? 'sighting' : 'sightings'}
                  </summary>
                  <ul>
                    ${gaps.map((gap) => html`<li>${gap}</li>`)}
                  </ul>
                </details>`
          }
        </figcaption>
      </figure>
    `;
  }

  #disc(which: 'up' | 'down', title: string) {
    const here = this.covered.filter(({ inclination }) => half(inclination) === which);
    const words = here
      .map(({ words, rolls }) => {
        const taken = rolls.filter(({ standing }) => standing === 'taken').length;
        return `${words}: ${taken} of ${rolls.length}`;
      })
      .join('; ');
    return html`
      <div class="disc">
        <p class="disc-title">${title}</p>
        <svg viewBox="-1.5 -1.5 3 3" role="img" aria-label="${title}. ${words}.">
          <circle r="1" class="horizon" />
          ${RINGS.map((inclination) => svg`<circle r=${-project(0, inclination).y} class="ring" />`)}
          <path d="M0 -1V1M-1 0H1" class="ring" />
          ${(
            [
              ['N', 0, -1.37],
              ['E', 1.37, 0],
              ['S', 0, 1.37],
              ['W', -1.37, 0],
            ] as const
          ).map(([name, x, y]) => svg`<text x=${x} y=${y} class="compass">${name}</text>`)}
          ${here.map((sighting) => this.#sighting(sighting))}
        </svg>
      </div>
    `;
  }

  #sighting({ azimuth, inclination, rolls }: CoveredSighting) {
    const { x, y } = project(azimuth, inclination);
    const isNext = rolls.some((slot) => slot.next);
    return svg`<g transform="translate(${x} ${y})">
      ${isNext ? svg`<circle r=${MARK * 1.35} class="next-ring" />` : nothing}
      <circle r=${MARK} class="ground" />
      ${rolls.map(
        ({ roll, standing, next }) =>
          svg`<path d=${wedgePath(roll, MARK)} class="wedge ${standing} ${next ? 'next' : ''}" />`,
      )}
      ${rolls
        .filter(({ standing }) => standing === 'aside')
        .map(
          ({ roll }) =>
            svg`<g transform="rotate(${roll})"><path d="M-.05 -.13L.05 -.05M.05 -.13L-.05 -.05" class="cross" /></g>`,
        )}
    </g>`;
  }

  #key(kind: 'open' | 'taken' | 'aside' | 'next', words: string) {
    return html`<li>
      <svg viewBox="-.25 -.25 .5 .5" aria-hidden="true">
        ${kind === 'next' ? svg`<circle r=".23" class="next-ring" />` : nothing}
        <circle r=${MARK} class="ground" />
        ${[0, 90, 180, 270].map(
          (roll) =>
            svg`<path d=${wedgePath(roll, MARK)} class="wedge ${kind === 'next' ? (roll === 0 ? 'open next' : 'open') : kind}" />`,
        )}
        ${
          kind === 'aside'
            ? [0, 90, 180, 270].map(
                (roll) =>
                  svg`<g transform="rotate(${roll})"><path d="M-.05 -.13L.05 -.05M.05 -.13L-.05 -.05" class="cross" /></g>`,
              )
            : nothing
        }
      </svg>
      ${words}
    </li>`;
  }
}
