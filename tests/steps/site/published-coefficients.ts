import type { FieldModel } from '../../../src/steps/site/earth-field.ts';

/** A model as the text that is published of it, in its columns. */
export function textOf(
  { name, epoch, degree, g, h, gPerYear, hPerYear }: FieldModel,
  lineEnd = '\r\n',
): string {
  const lines = [`    ${epoch.toFixed(1)}            ${name}      11/13/2024`];
  for (let n = 1, i = 1; n <= degree; n++) {
    for (let m = 0; m <= n; m++, i++) {
      const numbers = [g[i]!, h[i]!, gPerYear[i]!, hPerYear[i]!];
      lines.push(
        [
          String(n).padStart(3),
          String(m).padStart(3),
          ...numbers.map((value) => value.toFixed(1).padStart(10)),
        ].join(' '),
      );
    }
  }
  const nines = '9'.repeat(48);
  return [...lines, nines, nines, ''].join(lineEnd);
}
