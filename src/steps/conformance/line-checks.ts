import { checkOf, LINE_LIMIT, withCheck } from '../../protocol/line.ts';
import { QUIET_MS, type Talk } from './talk.ts';
import type { Check, Trial } from './trial.ts';

/** Checks of SPEC.md, section 1, and of what is answered to a line that cannot be read (2.4). */

const encoder = new TextEncoder();
const bytesOf = (text: string): Uint8Array => encoder.encode(text);

/** A request of exactly so many bytes, its LF included, padded with a field that no board knows. */
function padded(tag: number, length: number): Uint8Array {
  const start = `?${tag} memory pad=`;
  return withCheck(start + 'x'.repeat(length - start.length - ' #0000\n'.length));
}

const request = (talk: Talk, body: (tag: number) => string): { tag: number; bytes: Uint8Array } => {
  const tag = talk.freshTag();
  return { tag, bytes: withCheck(body(tag)) };
};

/** Outside the grammar of 1.4, but for the check, which is right. */
const UNGRAMMATICAL: readonly string[] = [
  'memory',
  '? memory',
  '?0 memory',
  '?07 memory',
  '?1000000 memory',
  '?7  memory',
  '?7 memory ',
  '?7 Memory',
  '?7 memory x',
  '?7 memory =1',
  '?7 memory x=1 x=2',
  '?7 memory x=%G1',
  '?7 memory x=a=b',
  '?7 memory x=a#b',
  '=7 ok',
  '!7 reading',
];

/** Bytes that no line may hold, in the midst of an otherwise good one. */
const FOREIGN: readonly number[] = [0x00, 0x07, 0x09, 0x7f, 0xfc];

export const lineChecks: readonly Check[] = [
  {
    name: 'empty lines',
    section: '1.1',
    says: 'An empty line means nothing and is ignored.',
    need: 'always',
    async run(trial: Trial) {
      await trial.hello();
      for (const text of ['\n', '\r\n', '\n\n\n']) {
        trial.expectSilence(await trial.talk.listen(bytesOf(text)));
      }
      const tag = trial.talk.freshTag();
      const line = bytesOf(`\n?${tag} memory\n`);
      const manner = { tag, piece: line.length, answers: 0, ms: QUIET_MS };
      trial.expectOk(await trial.talk.say(line, manner));
    },
  },
  {
    name: 'a CR before the LF',
    section: '1.1',
    says: 'A CR before the LF is ignored.',
    need: 'always',
    async run(trial: Trial) {
      await trial.hello();
      const tag = trial.talk.freshTag();
      const body = `?${tag} memory`;
      trial.expectOk(
        await trial.talk.send(bytesOf(`${body} #${checkOf(body)}\r\n`), { tag }),
        'memory',
      );
    },
  },
  {
    name: 'half a line',
    section: '1.1',
    says: 'An LF clears half a line out of the board’s buffer: it is answered as what it is, and the next line is read from its beginning.',
    need: 'always',
    async run(trial: Trial) {
      await trial.hello();
      await trial.talk.listen(bytesOf('?7'), 50);
      const cleared = await trial.talk.send(bytesOf('\n'));
      trial.expectError(cleared, 'bad_line');
      trial.expectOk(await trial.ask('memory'), 'memory');
    },
  },
  {
    name: 'split lines',
    section: '1.6',
    says: 'A line may come cut anywhere and take any time: a board keeps what it has of it until its LF comes.',
    need: 'always',
    async run(trial: Trial) {
      await trial.hello();
      const length = withCheck('?10 memory').length;
      for (let cut = 1; cut < length; cut++) {
        const { tag, bytes } = request(trial.talk, (tag) => `?${tag} memory`);
        trial.expectOk(await trial.talk.send(bytes, { tag, cuts: [cut], pause: 10 }), undefined);
      }
      const single = request(trial.talk, (tag) => `?${tag} memory`);
      const manner = { tag: single.tag, piece: 1, pause: 30 };
      trial.expectOk(await trial.talk.send(single.bytes, manner), undefined);
      const slow = request(trial.talk, (tag) => `?${tag} memory`);
      const slowly = { tag: slow.tag, cuts: [6], pause: 3000 };
      trial.expectOk(await trial.talk.send(slow.bytes, slowly), undefined);
    },
  },
  {
    name: 'the longest line',
    section: '1.1',
    says: `A line has at most ${LINE_LIMIT} bytes, its LF included; one of so many is a line.`,
    need: 'always',
    async run(trial: Trial) {
      await trial.hello();
      const tag = trial.talk.freshTag();
      trial.expectOk(await trial.talk.send(padded(tag, LINE_LIMIT), { tag }), 'memory');
    },
  },
  {
    name: 'the longest write',
    section: '3',
    says: 'A board takes as many bytes in one write of the link as its hello says in chunk.',
    need: 'always',
    async run(trial: Trial) {
      await trial.hello();
      const { chunk } = trial.ground.found;
      const tag = trial.talk.freshTag();
      const line = padded(tag, 300);
      // empty lines fill what a longer chunk has room for
      const filling = new Uint8Array(Math.max(0, chunk - line.length)).fill(0x0a);
      const bytes = Uint8Array.from([...filling, ...line]);
      trial.expectOk(await trial.talk.send(bytes, { tag, piece: chunk }), undefined);
    },
  },
  {
    name: 'a line too long',
    section: '1.2',
    says: 'A longer line is dropped up to the next LF and answered by =0 error code=bad_line; nothing of it is carried out, and the next line is read from its beginning.',
    need: 'always',
    async run(trial: Trial) {
      await trial.hello();
      const { talk } = trial;
      const bad = (bytes: Uint8Array) => talk.send(bytes, { piece: 64 });
      for (const over of [1, 2, 40]) {
        trial.expectError(await bad(padded(talk.freshTag(), LINE_LIMIT + over)), 'bad_line');
      }
      trial.expectError(await bad(bytesOf(`${'x'.repeat(2000)}\n`)), 'bad_line');
      const hidden = new TextDecoder().decode(withCheck(`?${talk.freshTag()} memory`));
      for (const before of [LINE_LIMIT - 1, LINE_LIMIT, LINE_LIMIT + 1]) {
        trial.expectError(await bad(bytesOf('x'.repeat(before) + hidden)), 'bad_line');
      }
      trial.expectOk(await trial.ask('memory'));
    },
  },
  {
    name: 'foreign bytes',
    section: '1.2',
    says: 'A line with a byte outside printable ASCII is dropped up to the next LF and answered by =0 error code=bad_line.',
    need: 'always',
    async run(trial: Trial) {
      await trial.hello();
      for (const byte of FOREIGN) {
        const tag = trial.talk.freshTag();
        const inside = withCheck(`?${tag} memory x=abc`);
        inside[inside.indexOf(0x62)] = byte; // the b of abc
        trial.expectError(await trial.talk.send(inside), 'bad_line');
        const good = withCheck(`?${tag} memory`);
        trial.expectError(await trial.talk.send(Uint8Array.of(byte, ...good)), 'bad_line');
      }
      trial.expectOk(await trial.ask('memory'));
    },
  },
  {
    name: 'a wrong check',
    section: '2.4',
    says: 'A line whose check is wrong is answered by =0 error code=bad_check, and nothing is done.',
    need: 'always',
    async run(trial: Trial) {
      await trial.hello();
      const { own } = trial.ground.sets;
      const body = `?${trial.talk.freshTag()} stage model=${own.model} words=${own.words}`;
      const check = checkOf(body);
      const last = check.at(-1) === '0' ? '1' : '0';
      const damaged = [
        `${body} #${check.slice(0, 3)}${last}\n`,
        `${body.slice(0, -1)}${body.endsWith('1') ? '2' : '1'} #${check}\n`,
        `${body} #${check === '0000' ? '0001' : '0000'}\n`,
      ];
      for (const line of damaged) {
        const exchange = await trial.talk.send(bytesOf(line));
        trial.expectError(exchange, 'bad_check');
        await trial.expectNothingStaged(exchange);
      }
    },
  },
  {
    name: 'lines outside the grammar',
    section: '2.4',
    says: 'A line that does not parse is answered by =0 error code=bad_line.',
    need: 'always',
    async run(trial: Trial) {
      await trial.hello();
      for (const body of UNGRAMMATICAL) {
        trial.expectError(await trial.talk.send(withCheck(body)), 'bad_line');
      }
    },
  },
  {
    name: 'a damaged line is not remembered',
    section: '2.4',
    says: 'A line that was damaged or does not parse is not remembered: the same tag may come again.',
    need: 'always',
    async run(trial: Trial) {
      await trial.hello();
      const { talk } = trial;
      const [tag, other] = [talk.freshTag(), talk.freshTag()];
      const body = `?${tag} memory x=1`;
      const wrong = checkOf(body) === '0000' ? '0001' : '0000';
      await talk.send(bytesOf(`${body} #${wrong}\n`));
      trial.expectOk(await trial.ask('memory', tag));
      await talk.send(withCheck(`?${other} memory x`));
      trial.expectOk(await trial.ask('memory', other));
    },
  },
  {
    name: 'lines typed by hand',
    section: '1.6',
    says: 'A request typed by hand may leave out the check.',
    need: 'always',
    async run(trial: Trial) {
      await trial.hello();
      trial.expectOk(await trial.talk.type('memory'));
      trial.expectOk(await trial.talk.type('mode set=idle'));
      trial.expectOk(await trial.talk.type('again from=1'));
    },
  },
];
