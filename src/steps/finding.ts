/** One figure of a judgement, in words. */

/** How one figure stands: `watch` stops nothing, but a person should know. */
export type Standing = 'good' | 'watch' | 'bad';

export interface Finding {
  name: string;
  /** The figure with its unit, as it goes on screen. */
  figure: string;
  /** What it was taken over, and what is normal. */
  words: string;
  standing: Standing;
}

/** Degrees on screen. */
export const degreesText = (value: number, digits = 2): string => `${value.toFixed(digits)}°`;
export const percentText = (ratio: number): string => `${(100 * ratio).toFixed(2)} %`;

export const within = (value: number, limit: number): Standing => (value <= limit ? 'good' : 'bad');

/** In words: "a", "a and b", "a, b and c". */
export const listed = (parts: readonly string[]): string =>
  parts.length < 2 ? (parts[0] ?? '') : `${parts.slice(0, -1).join(', ')} and ${parts.at(-1)}`;
