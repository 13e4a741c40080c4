import { svg, html, type TemplateResult } from 'lit';

/** States by shape, beside their words; never by colour alone. */
export type Shape = 'good' | 'watch' | 'bad' | 'ahead' | 'now' | 'waiting';

const DRAWINGS: Record<Shape, TemplateResult> = {
  good: svg`<circle cx="12" cy="12" r="10" class="solid" /><path d="M7 12.5l3.500 3.500L17 8.500" class="mark" />`,
  watch: svg`<path d="M12 2.500L22.500 21h-21Z" class="solid" /><path d="M12 9.500v5.500M12 17.500v1" class="mark" />`,
  bad: svg`<rect x="3" y="3" width="18" height="18" class="solid" /><path d="M8 8l8 8M16 8l-8 8" class="mark" />`,
  ahead: svg`<circle cx="12" cy="12" r="8.500" class="hollow" />`,
  now: svg`<path d="M4 3l16 9-16 9Z" class="solid" />`,
  waiting: svg`<circle cx="12" cy="12" r="8.500" class="hollow" /><path d="M12 7v5l3.500 2" class="hollow" />`,
};

/** The drawing alone; the words beside it carry the meaning for whoever does not see it. */
export function shape(kind: Shape): TemplateResult {
  return html`<svg class="shape ${kind}" viewBox="0 0 24 24" aria-hidden="true">
    ${DRAWINGS[kind]}
  </svg>`;
}
