import type { Chart, ChartDataset, ChartOptions } from 'chart.js';
import { html, nothing, type PropertyValues } from 'lit';
import { customElement, property, query, state } from 'lit/decorators.js';
import type { ChartData } from '../steps/chart-data.ts';
import { View } from './view.ts';

/** How the series are told apart, by shape as well as by colour; colours are custom properties of the page. */
const LOOKS = [
  { shape: 'circle', sign: '●', colour: '--act' },
  { shape: 'triangle', sign: '▲', colour: '--watch' },
  { shape: 'rect', sign: '■', colour: '--soft' },
] as const;
const COLOURS = ['--act', '--watch', '--soft', '--bad', '--line', '--ink', '--sheet'] as const;
type Colour = (typeof COLOURS)[number];

/** What draws is as much script as the rest of the page: loaded with the first chart that is looked at. */
const drawn = () => import('./chart-drawing.ts');

/** A chart, what it shows in words, and its figures as a table that can be opened. */
@customElement('data-chart')
export class DataChart extends View {
  @property({ attribute: false }) data!: ChartData;
  @query('canvas') private canvas!: HTMLCanvasElement;
  /** The table is as long as the chart has points: it is drawn when it is asked for. */
  @state() private isTableOpen = false;
  /** It could not be drawn: its words and its table are there all the same. */
  @state() private isUndrawn = false;
  #chart: Chart | undefined;
  #isWaiting = false;
  readonly #scheme = matchMedia('(prefers-color-scheme: dark)');

  override connectedCallback(): void {
    super.connectedCallback();
    this.#scheme.addEventListener('change', this.#redraw);
    if (this.hasUpdated) this.requestUpdate('data');
  }

  override disconnectedCallback(): void {
    super.disconnectedCallback();
    this.#scheme.removeEventListener('change', this.#redraw);
    this.#chart?.destroy();
    this.#chart = undefined;
  }

  protected override updated(changes: PropertyValues): void {
    super.updated(changes);
    if (changes.has('data')) this.#redrawSoon();
  }

  /** After the picture with the figures in words: those come first, and of many changes the last is drawn. */
  #redrawSoon(): void {
    if (this.#isWaiting) return;
    this.#isWaiting = true;
    requestAnimationFrame(() =>
      setTimeout(() => {
        this.#isWaiting = false;
        void this.#redraw();
      }),
    );
  }

  protected override render() {
    const { title, series, limits, words, table } = this.data;
    return html`<figure class="chart">
      <figcaption>${title}</figcaption>
      <ul class="key" aria-hidden="true">
        ${
          series.length < 2
            ? nothing
            : series.map(
                ({ name }, i) =>
                  html`<li><span class="sign s${i}">${LOOKS[i]!.sign}</span> ${name}</li>`,
              )
        }
        ${limits ? html`<li><span class="sign limit">– –</span> ${limits.words}</li>` : nothing}
      </ul>
      <div class="plot"><canvas role="img" aria-label="${title}. ${words}"></canvas></div>
      ${this.isUndrawn ? html`<p>The chart could not be drawn. What it shows is told below.</p>` : nothing}
      <p class="note">${words}</p>
      <details
        @toggle=${(event: Event) => {
          this.isTableOpen = (event.target as HTMLDetailsElement).open;
        }}
      >
        <summary>The figures of this chart</summary>
        ${
          this.isTableOpen
            ? html`<div class="scroll tall" tabindex="0" role="group" aria-label=${title}>
                <table>
                  <thead>
                    <tr>
                      ${table.columns.map((column) => html`<th scope="col">${column}</th>`)}
                    </tr>
                  </thead>
                  <tbody>
                    ${table.rows.map(
                      ([first, ...rest]) =>
                        html`<tr>
                          <th scope="row">${first}</th>
                          ${rest.map((cell) => html`<td>${cell}</td>`)}
                        </tr>`,
                    )}
                  </tbody>
                </table>
              </div>`
            : nothing
        }
      </details>
    </figure>`;
  }

  #redraw = async (): Promise<void> => {
    const drawing = await drawn().catch((error: unknown) => {
      console.warn('The chart could not be drawn:', error);
      this.isUndrawn = true;
    });
    if (!drawing || !this.isConnected) return;
    this.isUndrawn = false;
    const datasets = this.#datasets();
    const options = this.#options();
    if (this.#chart) {
      this.#chart.data.datasets = datasets;
      this.#chart.options = options;
      this.#chart.update('none');
    } else {
      this.#chart = new drawing.Chart(this.canvas, {
        type: 'scatter',
        data: { datasets },
        options,
      });
    }
  };

  #datasets(): ChartDataset<'scatter' | 'bar'>[] {
    const { kind, series, limits, x } = this.data;
    const colour = this.#colours();
    const places = series.flatMap(({ points }) => points.map((point) => point.x));
    const half = kind === 'bars' ? 0.5 : 0;
    const [from, to] = x.span ?? [Math.min(0, ...places) - half, Math.max(1, ...places) + half];
    return [
      ...series.map(({ name, points }, i): ChartDataset<'scatter' | 'bar'> => {
        const look = LOOKS[i % LOOKS.length]!;
        const shared = { label: name, clip: 8, data: points.map(({ x, y }) => ({ x, y })) };
        return kind === 'bars'
          ? { type: 'bar', ...shared, backgroundColor: colour[look.colour], maxBarThickness: 28 }
          : {
              type: 'scatter',
              ...shared,
              pointStyle: look.shape,
              pointRadius: 4,
              pointBackgroundColor: colour[look.colour],
              pointBorderColor: colour['--sheet'],
            };
      }),
      ...(limits?.at ?? []).map((y): ChartDataset<'scatter'> => ({
        type: 'scatter',
        label: '',
        data: [from, to].map((x) => ({ x, y })),
        showLine: true,
        borderColor: colour['--bad'],
        borderDash: [6, 4],
        borderWidth: 1.5,
        pointRadius: 0,
        pointHitRadius: 0,
      })),
    ];
  }

  #options(): ChartOptions<'scatter' | 'bar'> {
    const { kind, x, y, series } = this.data;
    const colour = this.#colours();
    const title = (text: string) => ({ display: true, text, color: colour['--soft'] });
    const shared = {
      type: 'linear' as const,
      grid: { color: colour['--line'] },
      border: { color: colour['--soft'] },
    };
    const { ticks } = x;
    return {
      animation: false,
      responsive: true,
      maintainAspectRatio: false,
      scales: {
        x: {
          ...shared,
          title: title(x.name),
          ...(x.span && { min: x.span[0], max: x.span[1] }),
          ...(kind === 'bars' && ticks && { min: -0.5, max: ticks.length - 0.5 }),
          ...(kind === 'bars' && { offset: false }),
          ticks: {
            color: colour['--ink'],
            precision: 0,
            ...(x.span && { stepSize: (x.span[1] - x.span[0]) / 4 }),
            ...(ticks && {
              stepSize: 1,
              includeBounds: false, // their labels would be in the place of the first and the last
              autoSkip: ticks.length > 30,
              callback: (value: string | number) => ticks[Number(value)] ?? '',
            }),
          },
        },
        y: {
          ...shared,
          title: title(y.name),
          ...(y.least !== undefined && { min: y.least }),
          ticks: { color: colour['--ink'] },
        },
      },
      plugins: {
        tooltip: {
          filter: ({ datasetIndex }) => datasetIndex < series.length,
          callbacks: {
            title: () => '',
            label: ({ datasetIndex, dataIndex, formattedValue }) => {
              const { name, points } = series[datasetIndex]!;
              return `${points[dataIndex]?.name ?? ''}, ${name}: ${formattedValue}`;
            },
          },
        },
      },
    };
  }

  /** The page's colours as they are now. A custom property holds both schemes; what an element wears holds one. */
  #colours(): Record<Colour, string> {
    const { style } = this.canvas;
    const before = style.color;
    const resolved = COLOURS.map((name) => {
      style.color = `var(${name})`;
      return [name, getComputedStyle(this.canvas).color] as const;
    });
    style.color = before;
    return Object.fromEntries(resolved) as Record<Colour, string>;
  }
}
