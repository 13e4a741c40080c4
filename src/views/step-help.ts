import { html } from 'lit';
import { customElement, property } from 'lit/decorators.js';
import { keyed } from 'lit/directives/keyed.js';
import type { HelpTopic } from '../steps/next-step.ts';
import { HELP, type HelpPoint } from '../steps/step-help.ts';
import './step-help.css';
import { View } from './view.ts';

const pointList = (points: readonly HelpPoint[]) =>
  html`<ul class="points">
    ${points.map(
      ({ say, why }) =>
        html`<li>
          <strong>${say}</strong>
          ${why}
        </li>`,
    )}
  </ul>`;

/** Help beside a step, one tap away; closed again at the next step. */
@customElement('step-help')
export class StepHelp extends View {
  @property({ attribute: false }) topic!: HelpTopic;

  protected override render() {
    const { title, points } = HELP[this.topic];
    return keyed(
      this.topic,
      html`<details>
        <summary>${title}</summary>
        ${pointList(points)}
      </details>`,
    );
  }
}

/** What to have ready before the first reading, for whoever has not begun. */
@customElement('what-to-prepare')
export class WhatToPrepare extends View {
  protected override render() {
    return pointList(HELP.Look.points);
  }
}
