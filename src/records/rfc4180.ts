/**
 * Text of comma-separated values, as RFC 4180 has it, with `#` comment lines added: splitting and joining, no meaning.
 * Written here rather than taken, because a message must name the line where a row begins, comments must survive, and
 * files mix line ends; tests hold it against an independent implementation.
 */

export interface Row {
  /** Where it begins, counted from 1. */
  line: number;
  fields: string[];
}

export interface Comment {
  line: number;
  /** What stands after the `#`. */
  text: string;
}

export type Split =
  | { ok: true; rows: Row[]; comments: Comment[] }
  | {
      ok: false;
      /** A quoted field that never ends, or a quote where none may stand. */
      problem: 'open_quote' | 'stray_quote';
      line: number;
      /** Which field of the row, counted from 1. */
      field: number;
    };

const PLAIN = /[^,"\r\n]*/y;
const TO_LINE_END = /[^\r\n]*/y;
const LINE_END = /\r\n|\n|\r/y;
const LINE_ENDS = /\r\n|\n|\r/g;

/** Splits text into rows and comments. Lines end in CRLF, LF or CR; blank lines are left out. */
export function splitCsv(text: string): Split {
  const rows: Row[] = [];
  const comments: Comment[] = [];
  let at = 0;
  let line = 1;

  /** Takes what a sticky pattern matches here. */
  const take = (pattern: RegExp): string => {
    pattern.lastIndex = at;
    const found = pattern.exec(text)?.[0] ?? '';
    at += found.length;
    return found;
  };
  /** Takes a quoted field, its quotes undone; nothing where it never ends. */
  const takeQuoted = (): string | undefined => {
    let value = '';
    at++;
    for (;;) {
      const close = text.indexOf('"', at);
      if (close < 0) return undefined;
      value += text.slice(at, close);
      at = close + 1;
      if (text[at] !== '"') return value;
      value += '"';
      at++;
    }
  };

  while (at < text.length) {
    if (text[at] === '#') {
      comments.push({ line, text: take(TO_LINE_END).slice(1) });
    } else {
      const row: Row = { line, fields: [] };
      for (;;) {
        const begin = line;
        const quoted = text[at] === '"';
        const value = quoted ? takeQuoted() : take(PLAIN);
        const fault = { ok: false, line: begin, field: row.fields.length + 1 } as const;
        if (value === undefined) return { ...fault, problem: 'open_quote' };
        if (quoted) line += value.match(LINE_ENDS)?.length ?? 0;
        if (at < text.length && !',\r\n'.includes(text[at])) {
          return { ...fault, line, problem: 'stray_quote' };
        }
        row.fields.push(value);
        if (text[at] !== ',') break;
        at++;
      }
      if (row.fields.length > 1 || row.fields[0].trim() !== '') rows.push(row);
    }
    take(LINE_END);
    line++;
  }
  return { ok: true, rows, comments };
}

function quoteWhereNeeded(field: string): string {
  return /[",\r\n]|^#/.test(field) ? `"${field.replaceAll('"', '""')}"` : field;
}

/** Joins rows of at least two fields into text that {@link splitCsv} splits into the same rows. Lines end in LF. */
export function joinCsv(rows: readonly (readonly string[])[]): string {
  return rows.map((fields) => `${fields.map(quoteWhereNeeded).join(',')}\n`).join('');
}
