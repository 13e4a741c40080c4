import { asStored, type Coefficients } from '../calib/model.ts';
import { decimal, headLines, type SetAbout } from './coefficients-words.ts';

/**
 * Coefficients as plain text: comment lines begin with `#`, then each name on a line of its own and its numbers below
 * it, a row of a matrix on a line (docs/files.md). The same as JSON is a coefficients file.
 */
export function coefficientsMatrices(coefficients: Coefficients, about: SetAbout = {}): string {
  const set = asStored(coefficients);
  const parts: [string, readonly number[]][] = [
    ['acc_scale', [set.accScale]],
    ['mag_scale', [set.magScale]],
    ['o', set.o],
    ['A', set.A],
    ['q', set.q],
    ['p', set.p],
    ['B', set.B],
  ];
  return [
    ...headLines(set, about).map((line) => `# ${line}`.trimEnd()),
    ...parts.flatMap(([label, values]) => [label, ...rows(values)]),
    '',
  ].join('\n');
}

/** Three numbers on a line, each in a column of its own. */
function rows(values: readonly number[]): string[] {
  const lines: string[] = [];
  for (let at = 0; at < values.length; at += 3) {
    const row = values.slice(at, at + 3).map((value) => decimal(value).padStart(17));
    lines.push(row.join(''));
  }
  return lines;
}
