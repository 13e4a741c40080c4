/** A chart as plain data: what is drawn, in words too, and the same figures as a table. */
export interface ChartData {
  title: string;
  kind: 'points' | 'bars';
  /** Names of the axes, with the unit. */
  x: { name: string; span?: readonly [least: number, most: number]; ticks?: readonly string[] };
  y: { name: string; least?: number };
  /** At most three, told apart by shape. Each place on `x` is a number; with `ticks`, that of a tick. */
  series: readonly { name: string; points: readonly ChartPoint[] }[];
  /** Level lines, and what they mean. */
  limits?: { at: readonly number[]; words: string };
  /** What a person who does not see the chart should know of it. */
  words: string;
  table: { columns: readonly string[]; rows: readonly (readonly string[])[] };
}

export interface ChartPoint {
  x: number;
  y: number;
  /** What the point is, such as "reading 14". */
  name: string;
}
