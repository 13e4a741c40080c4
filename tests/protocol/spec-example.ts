import { readFileSync, writeFileSync } from 'node:fs';
import type { BoardIdentity, BoardReading, StoredSet } from '../../src/protocol/board.ts';
import type { Setting } from '../../src/protocol/care-messages.ts';
import type { CoefficientSet } from '../../src/protocol/coefficient-set.ts';
import { crc32 } from '../../src/protocol/crc.ts';
import { hexWord } from '../../src/protocol/fields.ts';
import { formatImage } from '../../src/protocol/firmware-image.ts';
import {
  formatAnswer,
  formatEvent,
  formatRequest,
  type FieldValues,
} from '../../src/protocol/line.ts';
import {
  EVENTS,
  REFUSAL,
  setCrc,
  VERBS,
  type AnswerOf,
  type RequestOf,
  type Verb,
} from '../../src/protocol/messages.ts';

/**
 * The example exchange of SPEC.md, section 9, with an invented board. Run as a program it writes the exchange into
 * the page:
 *
 *     npx tsx tests/protocol/spec-example.ts write
 */

const SPEC = new URL('../../src/protocol/SPEC.md', import.meta.url);
const BEGIN = '<!-- exchange -->\n';
const END = '<!-- end of exchange -->';

export const HOST = 0x7f3a09c2;

const IDENTITY: BoardIdentity = {
  protocol: 1,
  serial: 'WB-0042',
  name: 'blue tin, spare',
  hardware: 'tin/2',
  firmware: '1.4.0',
  capabilities: ['kept', 'trigger', 'settings', 'image'],
  accScale: 16384,
  magScale: 3000,
  accMounting: '+x+y+z',
  magMounting: '+x+y+z',
  accNoise: 16.4,
  magNoise: 6,
  chunk: 64,
  captureMs: 400,
  generation: 1,
};

/** The sets are near enough to what made the counts below that the angles come out near 40, 5 and 0 or 90 degrees. */
const OLD: CoefficientSet = {
  model: 'straight',
  values: [
    ...[16384, 3000],
    ...[0.0117, -0.0083, 0.0205, 1, 0, 0, 0, 1, 0, 0, 0, 1],
    ...[0.048, -0.022, 0.097, 1, 0, 0, 0, 1, 0, 0, 0, 1],
  ].map(Math.fround),
};
export const NEW: CoefficientSet = {
  model: 'straight',
  values: [
    ...[16384, 3000],
    ...[0.01201, -0.00799, 0.01998, 1.0004, 0.0011, -0.0007, -0.0011, 0.9997, 0.0002],
    ...[0.0007, -0.0002, 1.0001],
    ...[0.0501, -0.0199, 0.1003, 0.9989, 0.0021, 0.0013, -0.0019, 1.0012, -0.0004],
    ...[-0.0012, 0.0005, 0.9996],
  ].map(Math.fround),
};

const SETTING: Setting = {
  ...{ at: 1, name: 'sleep', label: 'Sleeps after', kind: 'number', value: '10', default: '10' },
  ...{ min: '0', max: '120', unit: 'min', restart: true },
};

export const IMAGE = formatImage({
  hardware: IDENTITY.hardware,
  version: '1.5.0',
  program: Uint8Array.of(0x10, 0x20, 0x30, 0x40),
});
export const IMAGE_CRC = hexWord(crc32(IMAGE));
const SLOTS = { slot: 65536, running: IDENTITY.firmware, trial: false, trialSeconds: 120 };

type Vec = readonly [number, number, number];

/** Azimuth, inclination and roll, degrees, by sections 6.1 and 6.2 for a straight set. */
export function angles({ values }: CoefficientSet, acc: Vec, mag: Vec): Vec {
  const [accScale, magScale] = values as [number, number];
  const apply = (counts: Vec, scale: number, at: number): Vec => {
    const u = counts.map((count, i) => count / scale - values[at + i]!);
    return [0, 1, 2].map((row) =>
      u.reduce((sum, part, i) => sum + values[at + 3 + 3 * row + i]! * part, 0),
    ) as unknown as Vec;
  };
  const cross = (a: Vec, b: Vec): Vec => [
    a[1] * b[2] - a[2] * b[1],
    a[2] * b[0] - a[0] * b[2],
    a[0] * b[1] - a[1] * b[0],
  ];
  const unit = (a: Vec): Vec => a.map((part) => part / Math.hypot(...a)) as unknown as Vec;
  const g = unit(apply(acc, accScale, 2));
  const b = unit(apply(mag, magScale, 14));
  const e = unit(cross(g, b));
  const n = unit(cross(e, g));
  const turn = (radians: number) => ((((radians * 180) / Math.PI) % 360) + 360) % 360;
  return [
    turn(Math.atan2(e[0], n[0])),
    (Math.asin(-g[0]) * 180) / Math.PI,
    turn(Math.atan2(g[1], g[2])),
  ];
}

function readingOf(
  reading: number,
  generation: number,
  tMs: number,
  set: CoefficientSet,
  acc: Vec,
  mag: Vec,
): BoardReading {
  const [azimuth, inclination, roll] = angles(set, acc, mag);
  return {
    ...{ reading, generation, tMs, acc, mag },
    accScatter: [61.2, 58.77, 63.4],
    magScatter: [24.1, 22.98, 25.3],
    ...{ samples: 16, temperature: 18.4, volt: 3.92, azimuth, inclination, roll },
  };
}

const stored = (set: CoefficientSet, generation: number): StoredSet => ({
  ...set,
  generation,
  crc: setCrc(set),
});

/** The exchange as the page shows it: headings in prose, then lines marked `>` or `<`. */
export function exchange(): string {
  const decoder = new TextDecoder();
  const parts: string[] = [];
  let block: string[] = [];
  let tag = 0;
  const flush = () => {
    if (block.length > 0) parts.push(`\`\`\`text\n${block.join('\n')}\n\`\`\``);
    block = [];
  };
  const mark = (sign: string, bytes: Uint8Array) =>
    block.push(`${sign} ${decoder.decode(bytes).trimEnd()}`);
  const prose = (text: string) => {
    flush();
    parts.push(text);
  };
  const ask = <V extends Verb>(verb: V, values: RequestOf<V>) => {
    tag++;
    const request = VERBS[verb].request as { write(values: RequestOf<V>): FieldValues };
    mark('>', formatRequest(tag, verb, request.write(values)));
  };
  const answer = <V extends Verb>(verb: V, values: AnswerOf<V>) => {
    const codec = VERBS[verb].answer as { write(values: AnswerOf<V>): FieldValues };
    mark('<', formatAnswer(tag, true, codec.write(values)));
  };
  const event = (number: number, reading: BoardReading) =>
    mark('<', formatEvent(number, 'reading', EVENTS.reading.write(reading)));
  const repeat = () => block.push(block.findLast((line) => line.startsWith('>'))!);

  const first = readingOf(
    1,
    1,
    60120,
    OLD,
    [-1231.5, -130.94, 16652.06],
    [880.62, -874.5, 3093.44],
  );
  const second = readingOf(2, 1, 74310, OLD, [-1232.19, 16190.25, 329.5], [880.19, 2733.06, 1115]);
  const sensed = { ...first, tMs: 51877 };

  prose(
    'The host opens a conversation, and looks at what is in the memory and whether the sensors live.',
  );
  ask('hello', { host: HOST, protocol: 1 });
  answer('hello', { host: HOST, ...IDENTITY });
  ask('memory', {});
  answer('memory', { first: 0, last: 0, count: 0, room: 3, dropped: 0 });
  ask('sense', {});
  answer('sense', sensed);
  prose('A reading by request, and one by the trigger on the board: both come as events.');
  ask('mode', { set: 'collect' });
  answer('mode', { mode: 'collect' });
  ask('capture', {});
  event(1, first);
  answer('capture', { reading: 1 });
  event(2, second);
  prose(
    'The answer to the next request is lost on its way. The host repeats the line, and the board sends the answer it\nremembers.',
  );
  ask('memory', {});
  repeat();
  answer('memory', { first: 1, last: 2, count: 2, room: 1, dropped: 0 });
  ask('recall', { reading: 2 });
  answer('recall', second);
  prose(
    'Collecting ends. The host makes sure that it missed no event: there is none after the second.',
  );
  ask('mode', { set: 'idle' });
  answer('mode', { mode: 'idle' });
  ask('again', { from: 3 });
  answer('again', { from: 3, to: 2 });
  prose('A request the board refuses.');
  ask('capture', {});
  mark('<', formatAnswer(tag, false, REFUSAL.write({ code: 'wrong_mode' })));
  prose('New coefficients are staged, checked, sealed, and read back.');
  ask('stage', NEW);
  answer('stage', { crc: setCrc(NEW) });
  ask('check', { crc: setCrc(NEW) });
  answer('check', { crc: setCrc(NEW) });
  ask('seal', { replaces: 1, crc: setCrc(NEW) });
  answer('seal', { generation: 2 });
  ask('coefficients', { which: 'in_force' });
  answer('coefficients', stored(NEW, 2));
  prose('They are taken back: the set before them is in force again, under a new number.');
  ask('revert', { replaces: 2 });
  answer('revert', { generation: 3 });
  ask('coefficients', { which: 'in_force' });
  answer('coefficients', stored(OLD, 3));
  prose('The host has both readings safely stored, and lets the board forget them.');
  ask('erase', { through: 2 });
  answer('erase', { erased: 2 });
  prose('The board’s name, clock and light.');
  ask('rename', { to: 'blue tin' });
  answer('rename', { name: 'blue tin' });
  ask('clock', { set: 1_900_000_000 });
  answer('clock', { utc: 1_900_000_000 });
  ask('light', { set: 'off' });
  answer('light', { light: 'off' });
  prose('One of its settings is changed and adopted; the change waits for a restart.');
  ask('settings', {});
  answer('settings', { count: 1, revision: 4, changed: 0 });
  ask('setting', { at: 1 });
  answer('setting', SETTING);
  ask('change', { name: 'sleep', value: '20' });
  answer('change', { name: 'sleep', value: '20', changed: 1 });
  ask('adopt', { replaces: 4 });
  answer('adopt', { revision: 5, restart: true });
  prose(
    'New firmware: loaded, checked, and swapped in. (A real image is longer; this one has no more than a header and a few\nbytes.)',
  );
  ask('image', {});
  answer('image', { ...SLOTS, state: 'empty' });
  ask('load', { size: IMAGE.length, crc: IMAGE_CRC });
  answer('load', { written: 0 });
  ask('put', { at: 0, bytes: IMAGE });
  answer('put', { written: IMAGE.length });
  ask('verify', { crc: IMAGE_CRC });
  answer('verify', { firmware: '1.5.0' });
  ask('swap', { crc: IMAGE_CRC });
  answer('swap', { firmware: '1.5.0' });
  prose(
    'The board has started again. After a new hello, which is left out here, the host finds it healthy and confirms. Last, it\nis told to start once more.',
  );
  ask('confirm', { firmware: '1.5.0' });
  answer('confirm', { firmware: '1.5.0' });
  ask('restart', {});
  answer('restart', {});
  flush();
  return `${parts.join('\n\n')}\n`;
}

/** The exchange as it stands in SPEC.md. */
export function written(): string {
  const page = readFileSync(SPEC, 'utf8');
  return page.slice(page.indexOf(BEGIN) + BEGIN.length, page.indexOf(END)).trim() + '\n';
}

/** The lines of an exchange, with their marks. */
export function linesOf(text: string): string[] {
  return text.split('\n').filter((line) => /^[<>] /.test(line));
}

if (process.argv[2] === 'write') {
  const page = readFileSync(SPEC, 'utf8');
  const head = page.slice(0, page.indexOf(BEGIN) + BEGIN.length);
  writeFileSync(SPEC, `${head}\n${exchange()}\n${page.slice(page.indexOf(END))}`);
}
