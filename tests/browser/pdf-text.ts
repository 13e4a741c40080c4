import { inflateSync } from 'node:zlib';

/**
 * Pages and text of a PDF as Chromium writes it: objects one after the other, streams deflated, fonts with tables that
 * give the text of their glyphs (ISO 32000-1, 7.3.10, 9.4.3 and 9.10.3). No more of the format than that.
 */
export function readPdf(pdf: Buffer): { pages: number; text: string } {
  const file = pdf.toString('latin1');
  const objects = new Map<string, string>();
  for (const [, number, body] of file.matchAll(/(?:^|\n)(\d+) 0 obj\s([\s\S]*?)\nendobj/g)) {
    objects.set(number!, body!);
  }
  const glyphs = new Map<string, Map<string, string>>();
  for (const [number, body] of objects) {
    const table = /\/ToUnicode (\d+) 0 R/.exec(body)?.[1];
    if (table !== undefined) glyphs.set(`F${number}`, tableOf(streamOf(objects.get(table)!)));
  }
  const pages = [...objects.values()].filter((body) => /\/Type \/Page\b/.test(body));
  const text = pages.map((page) => {
    const contents = /\/Contents (\d+) 0 R/.exec(page)![1]!;
    return textOf(streamOf(objects.get(contents)!), glyphs);
  });
  return { pages: pages.length, text: text.join('\n') };
}

function streamOf(body: string): string {
  const [, head, bytes] = /^([\s\S]*?)stream\r?\n([\s\S]*?)\r?\nendstream/.exec(body)!;
  const content = Buffer.from(bytes!, 'latin1');
  return head!.includes('/FlateDecode') ? inflateSync(content).toString('latin1') : bytes!;
}

/** Text by glyph, as four hexadecimal digits. */
function tableOf(map: string): Map<string, string> {
  const table = new Map<string, string>();
  const utf16 = (hex: string) => Buffer.from(hex, 'hex').swap16().toString('utf16le');
  for (const [, lines] of map.matchAll(/beginbfchar([\s\S]*?)endbfchar/g)) {
    for (const [, glyph, to] of lines!.matchAll(/<([0-9A-F]+)>\s*<([0-9A-F]+)>/gi)) {
      table.set(glyph!.toUpperCase(), utf16(to!));
    }
  }
  for (const [, lines] of map.matchAll(/beginbfrange([\s\S]*?)endbfrange/g)) {
    const rows = lines!.matchAll(/<([0-9A-F]+)>\s*<([0-9A-F]+)>\s*<([0-9A-F]+)>/gi);
    for (const [, from, until, to] of rows) {
      for (let glyph = parseInt(from!, 16); glyph <= parseInt(until!, 16); glyph++) {
        const code = parseInt(to!, 16) + glyph - parseInt(from!, 16);
        const key = glyph.toString(16).toUpperCase().padStart(from!.length, '0');
        table.set(key, utf16(code.toString(16).padStart(4, '0')));
      }
    }
  }
  return table;
}

/** What is shown, run by run, blanks left out: where one run ends has nothing to do with words. */
function textOf(content: string, glyphs: ReadonlyMap<string, ReadonlyMap<string, string>>): string {
  let table: ReadonlyMap<string, string> | undefined;
  let text = '';
  for (const [, font, hex] of content.matchAll(/\/(F\d+) [\d.]+ Tf|<([0-9A-F]+)>/gi)) {
    if (font !== undefined) table = glyphs.get(font);
    else {
      text += (hex!.match(/.{4}/g) ?? []).map((glyph) => table?.get(glyph.toUpperCase()) ?? '').join(''); // prettier-ignore
    }
  }
  return text.normalize('NFKC').replace(/\s+/g, '');
}
