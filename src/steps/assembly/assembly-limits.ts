/** What figures of a freshly soldered board are held against. All are ours; each has its reason. They are wide: what a calibration makes up for is no fault. */
export const LIMITS = {
  /**
   * Noise, as a multiple of the declared one: makers state a typical figure, and up to twice that a calibration bears; a
   * third may be a better chip than promised.
   */
  noisy: 2,
  quiet: 1 / 3,
  /** An axis follows the turns where it changes by more than this part of what the liveliest axis of its chip does: any sound one changes by half. */
  follows: 0.15,
  /** Where all axes change by less than so much of the declared scale the chip is dead: the weakest field on earth is 0.45 of it. */
  alive: 0.08,
  /** Length of gravity, and of the field, in units of the declared scale: a range set wrongly is off by two at least. */
  accScale: [0.75, 1.33],
  /** The field is from 0.45 to 1.4 of 50 µT on earth (common knowledge), a chip’s gain off by a tenth at most. */
  magScale: [0.25, 2.5],
  /** Offset, as a part of gravity and of the field: a tenth and a half are common (no source). */
  accOffset: 0.3,
  magOffset: 1.5,
  /** How far a chip may be from where it ends up, as a part of its scale, when the other is still already. */
  lag: 0.1,
  stillBeside: 0.04,
  /** In so many turns: a person who goes on turning about the plumb line does not do it every time. */
  lagTurns: 3,
  /** Volts: less no board runs on; more no battery of a hand-held one has. */
  volt: [1.5, 20],
  /** Degrees Celsius of a bench where people solder. */
  temperature: [-15, 60],
  /** What the turns may leave, root mean square, as a part of the field: people are off by 20° and more. */
  fits: 0.5,
  /** The next best way of sitting must leave so much more than the best. */
  apart: 1.3,
  /** A level part of the field, of the whole, by which north can be told. */
  level: 0.2,
} as const;
