type Parameters = readonly number[] | Float64Array;

/**
 * Models of the nonlinear regression sets of the NIST Statistical Reference Datasets (public domain), with derivatives
 * by their parameters derived by hand. Each set's file states its model; parameters b1, b2 … are b[0], b[1] … here.
 */
export interface Model {
  value(b: Parameters, x: number): number;
  /** Derivatives of the value by each parameter. */
  gradient(b: Parameters, x: number): number[];
}

const { cos, exp, log, PI, sin } = Math;

/** b1 (1 − exp(−b2 x)): Misra1a, BoxBOD. */
const saturation: Model = {
  value: ([b1, b2], x) => b1! * (1 - exp(-b2! * x)),
  gradient: ([b1, b2], x) => [1 - exp(-b2! * x), b1! * x * exp(-b2! * x)],
};

/** (b1 + b2 x + b3 x² + b4 x³) / (1 + b5 x + b6 x² + b7 x³): Hahn1, Thurber. */
const cubicOverCubic: Model = {
  value: (b, x) => above(b, x) / below(b, x),
  gradient(b, x) {
    const by = 1 / below(b, x);
    const k = -above(b, x) * by * by;
    return [by, x * by, x ** 2 * by, x ** 3 * by, x * k, x ** 2 * k, x ** 3 * k];
  },
};
const above = (b: Parameters, x: number) => b[0]! + x * (b[1]! + x * (b[2]! + x * b[3]!));
const below = (b: Parameters, x: number) => 1 + x * (b[4]! + x * (b[5]! + x * b[6]!));

export const nistModels: Readonly<Record<string, Model>> = {
  Misra1a: saturation,
  BoxBOD: saturation,
  Hahn1: cubicOverCubic,
  Thurber: cubicOverCubic,

  // b1 (b2 + x)^(−1/b3)
  Bennett5: {
    value: ([b1, b2, b3], x) => b1! * (b2! + x) ** (-1 / b3!),
    gradient([b1, b2, b3], x) {
      const power = (b2! + x) ** (-1 / b3!);
      return [power, (-b1! * power) / (b3! * (b2! + x)), (b1! * power * log(b2! + x)) / b3! ** 2];
    },
  },

  // a mean, a year, and two cycles of unknown length
  ENSO: {
    value(b, x) {
      const [year, one, two] = [12, b[3]!, b[6]!].map((period) => (2 * PI * x) / period);
      return (
        b[0]! +
        b[1]! * cos(year!) +
        b[2]! * sin(year!) +
        b[4]! * cos(one!) +
        b[5]! * sin(one!) +
        b[7]! * cos(two!) +
        b[8]! * sin(two!)
      );
    },
    gradient(b, x) {
      const [year, one, two] = [12, b[3]!, b[6]!].map((period) => (2 * PI * x) / period);
      // the phase changes with the period as −phase/period
      const byPeriod = (phase: number, period: number, c: number, s: number) =>
        (phase / period) * (c * sin(phase) - s * cos(phase));
      return [
        1,
        cos(year!),
        sin(year!),
        byPeriod(one!, b[3]!, b[4]!, b[5]!),
        cos(one!),
        sin(one!),
        byPeriod(two!, b[6]!, b[7]!, b[8]!),
        cos(two!),
        sin(two!),
      ];
    },
  },

  // b1 exp(−b2 x) + b3 exp(−b4 x) + b5 exp(−b6 x)
  Lanczos3: {
    value: (b, x) => [0, 2, 4].reduce((sum, i) => sum + b[i]! * exp(-b[i + 1]! * x), 0),
    gradient: (b, x) =>
      [0, 2, 4].flatMap((i) => [exp(-b[i + 1]! * x), -b[i]! * x * exp(-b[i + 1]! * x)]),
  },

  // b1 (x² + b2 x) / (x² + b3 x + b4)
  MGH09: {
    value: ([b1, b2, b3, b4], x) => (b1! * (x * x + x * b2!)) / (x * x + x * b3! + b4!),
    gradient([b1, b2, b3, b4], x) {
      const by = 1 / (x * x + x * b3! + b4!);
      const top = x * x + x * b2!;
      return [top * by, b1! * x * by, -b1! * top * x * by * by, -b1! * top * by * by];
    },
  },

  // b1 exp(b2 / (x + b3))
  MGH10: {
    value: ([b1, b2, b3], x) => b1! * exp(b2! / (x + b3!)),
    gradient([b1, b2, b3], x) {
      const e = exp(b2! / (x + b3!));
      return [e, (b1! * e) / (x + b3!), (-b1! * e * b2!) / (x + b3!) ** 2];
    },
  },

  // b1 / (1 + exp(b2 − b3 x))^(1/b4)
  Rat43: {
    value: ([b1, b2, b3, b4], x) => b1! / (1 + exp(b2! - b3! * x)) ** (1 / b4!),
    gradient([b1, b2, b3, b4], x) {
      const e = exp(b2! - b3! * x);
      const power = (1 + e) ** (-1 / b4!);
      const k = (b1! * power * e) / (b4! * (1 + e));
      return [power, -k, k * x, (b1! * power * log(1 + e)) / b4! ** 2];
    },
  },
};
