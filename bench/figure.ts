/** One line of the bench's table. */
export interface Figure {
  what: string;
  value: string;
  /** What it is held against. */
  beside: string;
}
