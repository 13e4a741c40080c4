import type { DecimalSign, Separator } from '../../../src/steps/logbook/sheet-table.ts';

/** How a test prints a table of numbers and words as a sheet. */
export interface Printing {
  separator: Separator;
  decimal: DecimalSign;
  digits: number;
}

const BETWEEN: Record<Separator, string> = { tab: '\t', semicolon: ';', comma: ',', space: ' ' };

/** The table as text, its lines ended by LF. Numbers get so many digits after the decimal sign. */
export function printed(
  rows: readonly (readonly (string | number)[])[],
  { separator, decimal, digits }: Printing,
): string {
  const cell = (value: string | number) => {
    if (typeof value === 'string') return value;
    const text = value.toFixed(digits);
    return decimal === 'comma' ? text.replace('.', ',') : text;
  };
  return rows.map((row) => `${row.map(cell).join(BETWEEN[separator])}\n`).join('');
}
