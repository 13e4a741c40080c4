import { html } from 'lit';
import { customElement, property } from 'lit/decorators.js';
import { PLACES, type Place } from '../steps/next-step.ts';
import { shape } from './shapes.ts';
import { View } from './view.ts';

/** Where on the way one is: what is done, what is now, what is ahead. */
@customElement('path-strip')
export class PathStrip extends View {
  @property() place: Place = 'Link';

  protected override render() {
    const now = this.place === 'Done' ? PLACES.length : PLACES.indexOf(this.place);
    return html`<nav class="path" aria-label="The way">
      <ol>
        ${PLACES.map((place, i) => {
          const [kind, words] =
            i < now
              ? (['good', 'done'] as const)
              : i === now
                ? (['now', 'now'] as const)
                : (['ahead', 'ahead'] as const);
          return html`<li class=${words} aria-current=${i === now ? 'step' : 'false'}>
            ${shape(kind)} <span>${place}<span class="unseen">: ${words}</span></span>
          </li>`;
        })}
      </ol>
    </nav>`;
  }
}
