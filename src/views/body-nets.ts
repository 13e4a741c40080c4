import { html, nothing, svg, type PropertyValues, type TemplateResult } from 'lit';
import { customElement, property, state } from 'lit/decorators.js';
import { repeat } from 'lit/directives/repeat.js';
import {
  bodyPoints,
  levelOf,
  levelWords,
  netGaps,
  netPlace,
  netShade,
  netSource,
  pointWords,
  shadeBounds,
  shadeWords,
  type BodyPoint,
  type NetShade,
  type NetSource,
  type Sensed,
} from '../steps/body-nets.ts';
import type { CalibrationState } from '../steps/calibration-state.ts';
import type { LiveFit } from '../steps/live-fit.ts';
import type { ReadingRow } from '../steps/reading-rows.ts';
import './body-nets.css';
import { arcsPath, half, project, ringPath } from './net-projection.ts';
import { shape } from './shapes.ts';
import { View } from './view.ts';

/** A person chose a reading, in the nets or in the table. */
export class ChooseEvent extends Event {
  static readonly type = 'choose-reading';
  constructor(
    /** Absent where none is to be chosen any more. */
    readonly reading: string | undefined,
  ) {
    super(ChooseEvent.type, { bubbles: true });
  }
}

const TITLES: Record<Sensed, string> = {
  down: 'Where down has been in the board',
  field: 'Where the field has been in the board',
};
const HALVES = [
  ['front', 'Front half'],
  ['back', 'Back half'],
] as const;
type Half = (typeof HALVES)[number][0];

/** A net's shading as paths: for each half and level the area, and the arcs over it. */
type Drawn = Record<Half, readonly { level: number; area: string; arcs: string }[]>;

/** Radius of a point, and of what can be touched, the rim being 1. */
const POINT = 0.05;
const TOUCH = 0.1;
const RINGS = [30, 60];

/**
 * Two equal-area nets of the board's own axes: where readings had down, and where they had the field, over the expected
 * azimuth error. Each point is tied to its row of the table.
 */
@customElement('body-nets')
export class BodyNets extends View {
  @property({ attribute: false }) calibration!: CalibrationState;
  @property({ attribute: false }) live: LiveFit | undefined;
  /** The same readings as rows of the table, which say more of each. */
  @property({ attribute: false }) rows: readonly ReadingRow[] = [];
  /** Id of the chosen reading. */
  @property() chosen: string | undefined;
  @state() private shades: Partial<Record<Sensed, NetShade>> = {};
  /** That the shades are of, or will be. */
  #shadedFor: NetSource['uncertainty'] | undefined;

  protected override willUpdate(changes: PropertyValues): void {
    super.willUpdate(changes);
    const source = netSource(this.calibration, this.live);
    if (source?.uncertainty === this.#shadedFor) return;
    this.#shadedFor = source?.uncertainty;
    if (source) void this.#shade(source);
    else this.shades = {};
  }

  /** One net after the other, so that nothing waits for both. */
  async #shade(source: NetSource): Promise<void> {
    for (const which of ['down', 'field'] as const) {
      await new Promise((resolve) => setTimeout(resolve));
      if (this.#shadedFor !== source.uncertainty) return; // a newer one is on its way
      this.shades = { ...this.shades, [which]: netShade(source, which) };
    }
  }

  protected override render() {
    const { calibration } = this;
    const source = netSource(calibration, this.live);
    const points = bodyPoints(calibration.readings, source);
    const bounds = shadeBounds(calibration.tolerance);
    const { down, field } = this.shades;
    return html`
      <div class="body-nets">
        <h3>As the chips saw it</h3>
        <p class="key-words">
          The nets show the board from behind, as you aim: the middle of the front half is straight
          ahead along the sight, the rim lies across it. Coefficients are sure of themselves only
          where readings had down and the field.
        </p>
        <div class="pair">
          ${this.#net('down', points, down, bounds)}
          ${
            source
              ? this.#net('field', points, field, bounds)
              : html`<p class="key-words">
                  Where the field has been is known once there are enough readings for a fit. Until
                  then down follows from the planned aims, and nothing is shaded.
                </p>`
          }
        </div>
        ${this.#chosen(points)}
        ${
          down
            ? html`<p>${shadeWords(down)}</p>
                ${this.#legend(bounds)}`
            : nothing
        }
        ${this.#gaps(source)}
      </div>
    `;
  }

  #net(
    which: Sensed,
    points: readonly BodyPoint[],
    shade: NetShade | undefined,
    bounds: readonly number[],
  ) {
    const placed = points.flatMap((point) => {
      const at = point[which];
      return at ? [{ point, place: netPlace(at) }] : [];
    });
    const ids = placed.map(({ point }) => point.id);
    const entry = ids.includes(this.chosen ?? '') ? this.chosen : ids[0];
    const drawn = shade && this.#drawn(shade, bounds);
    const words = `${TITLES[which]}: ${placed.length} readings, front and back half`;
    return html`<figure class="body-net">
      <figcaption>${TITLES[which]}</figcaption>
      <div
        class="halves"
        role=${ids.length > 0 ? 'listbox' : nothing}
        aria-label=${ids.length > 0 ? `${words}. Arrow keys go from reading to reading` : nothing}
        @keydown=${(event: KeyboardEvent) => this.#key(event, which, ids)}
      >
        ${HALVES.map(
          ([name, title]) =>
            html`<svg viewBox="-1.36 -1.58 2.72 2.9" role="presentation">
              <text y="-1.46" class="half-title" aria-hidden="true">${title}</text>
              ${drawn?.[name].map(
                ({ level, area, arcs }) =>
                  svg`<path d=${area} class="shade level-${level}" /><path d=${arcs} class="arcs level-${level}" />`,
              )}
              ${RINGS.map((ahead) => svg`<circle r=${-project(0, ahead).y} class="ring" />`)}
              <circle r="1" class="horizon" />
              ${(
                [
                  ['top', 0, -1.2],
                  ['right', 1.2, 0],
                  ['bottom', 0, 1.2],
                  ['left', -1.2, 0],
                ] as const
              ).map(
                ([side, x, y]) =>
                  svg`<text x=${x} y=${y} class="side ${side}" aria-hidden="true">${side}</text>`,
              )}
              ${repeat(
                placed.filter(({ place }) => (half(place.ahead) === 'up') === (name === 'front')),
                ({ point }) => point.id,
                ({ point, place }) => {
                  const { x, y } = project(place.around, place.ahead);
                  return this.#point(point, which, x, y, point.id === entry);
                },
              )}
            </svg>`,
        )}
      </div>
    </figure>`;
  }

  #point(point: BodyPoint, which: Sensed, x: number, y: number, isEntry: boolean): TemplateResult {
    const { id, counts } = point;
    const isChosen = id === this.chosen;
    return svg`<g
      role="option"
      class="point ${counts ? '' : 'aside'}"
      transform="translate(${x.toFixed(4)} ${y.toFixed(4)})"
      tabindex=${isEntry ? 0 : -1}
      aria-selected=${isChosen ? 'true' : 'false'}
      aria-label=${this.#words(point)}
      data-point="${which} ${id}"
      @click=${() => this.#choose(id)}
      @focus=${() => this.#choose(id)}
    >
      <circle r=${TOUCH} class="touch" />
      ${isChosen ? svg`<circle r="0.12" class="chosen-ring" />` : nothing}
      ${
        counts
          ? svg`<circle r=${POINT} class="dot" />`
          : svg`<path d="M-.05 -.05L.05 .05M.05 -.05L-.05 .05" class="cross" />`
      }
    </g>`;
  }

  #words(point: BodyPoint): string {
    const row = this.rows.find(({ id }) => id === point.id);
    const aside = point.counts ? '' : ', set aside';
    const misfit = row && row.misfit !== '–' ? `, misfit ${row.misfit}` : '';
    return `Reading ${point.id}: ${pointWords(point)}${misfit}${aside}`;
  }

  #chosen(points: readonly BodyPoint[]) {
    const point = points.find(({ id }) => id === this.chosen);
    if (!point) {
      return html`<p class="chosen-words note">
        Choose a point, or a number in the table, and it is marked in both.
      </p>`;
    }
    return html`<div class="chosen-words">
      <p>${this.#words(point)}.</p>
      <button type="button" @click=${() => this.#toRow(point.id)}>Go to its row</button>
      <button type="button" @click=${() => this.#choose(undefined)}>Mark none</button>
    </div>`;
  }

  #legend(bounds: readonly number[]) {
    const words = levelWords(bounds);
    return html`<ul class="key shades" aria-label="Key to the shading">
        ${words.map((each, level) => {
          const isOver = level === bounds.length;
          const shown = isOver ? OVER : level;
          return html`<li>
            <svg viewBox="0 0 1.6 1" aria-hidden="true" class="swatch">
              <rect width="1.6" height="1" class="ground" />
              ${
                shown > 0
                  ? svg`<rect width="1.6" height="1" class="shade level-${shown}" />
                    <path d=${swatchLines(shown)} class="arcs level-${shown}" />`
                  : nothing
              }
              <rect width="1.6" height="1" class="edge" />
            </svg>
            ${each}
          </li>`;
        })}
        <li>
          <svg viewBox="-.15 -.15 .3 .3" aria-hidden="true">
            <circle r=".08" class="dot" />
          </svg>
          a reading that counts
        </li>
        <li>
          <svg viewBox="-.15 -.15 .3 .3" aria-hidden="true">
            <path d="M-.09 -.09L.09 .09M.09 -.09L-.09 .09" class="cross" />
          </svg>
          set aside
        </li>
      </ul>
      <p class="key-words">
        Shaded is half of the 95 % interval of azimuth × cos inclination, over all headings. After a
        whole plan ±&nbsp;0.1° to ±&nbsp;0.25° is normal for an ordinary board. It is what the
        coefficients add; it cannot see iron at the site, the noise of a reading, or your aim.
      </p>`;
  }

  #gaps(source: NetSource | undefined) {
    if (this.calibration.readings.length === 0) return nothing;
    const gaps = netGaps(this.calibration, source);
    if (gaps.length === 0) {
      return html`<p>
        ${shape('good')} No part is lacking: readings had down${source ? ' and the field' : ''}
        within 50° of every direction.
      </p>`;
    }
    return html`<details class="gaps">
      <summary>Parts without a reading within 50°: ${gaps.length}</summary>
      <ul>
        ${gaps.map(
          ({ words, take, planned }) =>
            html`<li>
              ${words}. Take: ${take}${planned ? ', which the plan asks for' : ', beside the plan'}.
            </li>`,
        )}
      </ul>
    </details>`;
  }

  #drawn({ cells, errors }: NetShade, bounds: readonly number[]): Drawn {
    const paths = { front: new Map<number, string[][]>(), back: new Map<number, string[][]>() };
    const rings = Math.max(...cells.map(({ ring }) => ring)) + 1;
    cells.forEach(({ half, ring, part, parts }, i) => {
      const found = levelOf(errors[i]!, bounds);
      if (found === 0) return;
      const level = found === bounds.length ? OVER : found;
      const [inner, outer] = [ring / rings, (ring + 1) / rings];
      const [from, to] = [(360 * part) / parts, (360 * (part + 1)) / parts];
      const [areas, arcs] = paths[half].get(level) ?? [[], []];
      areas!.push(ringPath(inner, outer, from, to));
      arcs!.push(arcsPath(inner, outer, from, to, level));
      paths[half].set(level, [areas!, arcs!]);
    });
    const of = (name: Half) =>
      [...paths[name]].map(([level, [areas, arcs]]) => ({
        level,
        area: areas!.join(''),
        arcs: arcs!.join(''),
      }));
    return { front: of('front'), back: of('back') };
  }

  #key(event: KeyboardEvent, which: Sensed, ids: readonly string[]): void {
    const at = ids.indexOf(this.chosen ?? '');
    const to = {
      ArrowRight: at + 1,
      ArrowDown: at + 1,
      ArrowLeft: at - 1,
      ArrowUp: at - 1,
      Home: 0,
      End: ids.length - 1,
    }[event.key];
    if (to === undefined) return;
    event.preventDefault();
    const id = ids[Math.max(0, Math.min(ids.length - 1, to))];
    const next = [...this.querySelectorAll<SVGElement>('.point')].find(
      (each) => each.dataset['point'] === `${which} ${id}`,
    );
    next?.focus();
  }

  #choose(reading: string | undefined): void {
    if (reading !== this.chosen) this.dispatchEvent(new ChooseEvent(reading));
  }

  #toRow(id: string): void {
    this.dispatchEvent(new CustomEvent('go-to-row', { bubbles: true, detail: id }));
  }
}

/** The level of what is over the tolerance, however many lie below. */
const OVER = 4;

const swatchLines = (level: number): string =>
  Array.from({ length: level }, (_, i) => `M0 ${(i + 0.5) / level}H1.6`).join('');
