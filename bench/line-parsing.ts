import { EVENTS } from '../src/protocol/messages.ts';
import { formatEvent, formatRequest, LineReader, parseLine } from '../src/protocol/line.ts';
import type { Figure } from './figure.ts';

const LINES = 20_000;
/** Bytes that a link hands over at once. */
const CHUNK = 512;
const ROUNDS = 9;

interface Content {
  what: string;
  /** All lines, as they come over a link. */
  bytes: Uint8Array;
  /** The same content as JSON, a text a line. */
  json: readonly string[];
}

/** Readings with every field a board without a range module sends: the longest lines of a calibration. */
function readings(): Content {
  const lines: Uint8Array[] = [];
  const json: string[] = [];
  for (let n = 1; n <= LINES; n++) {
    const wobble = (n % 997) / 100;
    const fields = EVENTS.reading.write({
      reading: n,
      generation: 1,
      tMs: 60_120 + 20 * n,
      acc: [-1231.5 + wobble, -130.94, 16652.06 - wobble],
      mag: [880.62 - wobble, -874.5, 3093.44],
      accScatter: [61.2, 58.77, 63.4],
      magScatter: [24.1, 22.98, 25.3],
      samples: 16,
      temperature: 18.4,
      volt: 3.92,
      azimuth: 39.629 + wobble,
      inclination: 4.985,
      roll: 0.018 + wobble,
    });
    lines.push(formatEvent(n, 'reading', fields));
    json.push(JSON.stringify({ kind: 'event', number: n, event: 'reading', fields }));
  }
  return { what: 'readings with all their fields', bytes: joined(lines), json };
}

/** Requests with a field or two: the shortest lines. */
function requests(): Content {
  const lines: Uint8Array[] = [];
  const json: string[] = [];
  for (let n = 1; n <= LINES; n++) {
    lines.push(formatRequest(n, 'recall', { reading: n }));
    const fields = { reading: [String(n)] };
    json.push(JSON.stringify({ kind: 'request', tag: n, verb: 'recall', fields }));
  }
  return { what: 'requests', bytes: joined(lines), json };
}

function joined(lines: readonly Uint8Array[]): Uint8Array {
  const all = new Uint8Array(lines.reduce((sum, line) => sum + line.length, 0));
  let at = 0;
  for (const line of lines) {
    all.set(line, at);
    at += line.length;
  }
  return all;
}

/** Cuts into lines, proves each check and reads every field. Gives how many were whole. */
function readLines(bytes: Uint8Array): number {
  let whole = 0;
  const reader = new LineReader((text) => {
    if (typeof parseLine(text) !== 'string') whole += 1;
  });
  for (let at = 0; at < bytes.length; at += CHUNK) reader.push(bytes.subarray(at, at + CHUNK));
  return whole;
}

/** Lines a second, the best of some rounds: what disturbs a run only ever makes it slower. */
function rate(run: () => number): number {
  let best = 0;
  for (let round = 0; round < ROUNDS; round++) {
    const start = performance.now();
    const done = run();
    best = Math.max(best, (1000 * done) / (performance.now() - start));
  }
  return best;
}

/**
 * Lines read in a second from bytes to fields, beside JSON.parse of the same content in the same run: that is native code
 * that cuts nothing and proves no check, so the ratio says what the protocol costs on any machine.
 */
export function lineParsing(): Figure[] {
  return [readings(), requests()].map(({ what, bytes, json }) => {
    const lines = rate(() => readLines(bytes));
    const parsed = rate(() => json.filter((text) => JSON.parse(text) !== null).length);
    const each = Math.round(bytes.length / LINES);
    return {
      what: `lines read in a second: ${what}, ${each} bytes each, in pieces of ${CHUNK}`,
      value: Math.round(lines).toLocaleString('en'),
      beside: `${(lines / parsed).toFixed(2)} of JSON.parse on the same content; at least 200,000 wanted`,
    };
  });
}
