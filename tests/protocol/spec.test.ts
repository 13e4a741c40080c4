import { readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { linkBoard, type BoardReading } from '../../src/protocol/board.ts';
import type { CoefficientSet } from '../../src/protocol/coefficient-set.ts';
import { BOARD_CODES, ProtocolError } from '../../src/protocol/errors.ts';
import { LINE_LIMIT, parseLine } from '../../src/protocol/line.ts';
import {
  EVENTS,
  isEventKind,
  isVerb,
  REFUSAL,
  setCrc,
  VERBS,
} from '../../src/protocol/messages.ts';
import { ScriptedLink } from './scripted-board.ts';
import { angles, exchange, HOST, IMAGE, IMAGE_CRC, linesOf, NEW, written } from './spec-example.ts';
import { VirtualClock } from './virtual-clock.ts';

const page = readFileSync(new URL('../../src/protocol/SPEC.md', import.meta.url), 'utf8');
const section = (heading: string) => page.split(/^##+ /m).find((part) => part.startsWith(heading))!;
const lines = linesOf(written());

describe('the example in SPEC.md', () => {
  test('is word for word what its program writes', () => {
    expect(written()).toBe(exchange());
  });

  test('has only lines that fit, parse, carry the right check, and hold a message of the protocol', () => {
    const asked = new Map<number, keyof typeof VERBS>();
    const seen = new Set<string>();
    for (const marked of lines) {
      const text = marked.slice(2);
      expect(text.length + 1).toBeLessThanOrEqual(LINE_LIMIT);
      const line = parseLine(text);
      if (typeof line === 'string') throw new Error(`${line}: ${text}`);
      expect(line.checked).toBe(true);
      expect(line.kind === 'request').toBe(marked.startsWith('>'));
      if (line.kind === 'request') {
        if (!isVerb(line.verb)) throw new Error(line.verb);
        VERBS[line.verb].request.read(line.fields);
        asked.set(line.tag, line.verb);
        seen.add(line.verb);
      } else if (line.kind === 'event') {
        if (!isEventKind(line.event)) throw new Error(line.event);
        EVENTS[line.event].read(line.fields);
      } else if (line.ok) {
        VERBS[asked.get(line.tag)!].answer.read(line.fields);
      } else {
        REFUSAL.read(line.fields);
      }
    }
    expect([...seen].sort()).toEqual(Object.keys(VERBS).sort());
  });

  test('is what this program’s own host says to such a board, and understands', async () => {
    const link = new ScriptedLink();
    let at = 0;
    link.script = (heard) => {
      expect(`> ${heard}`).toBe(lines[at++]);
      while (lines[at]?.startsWith('<')) link.sayText(`${lines[at++]!.slice(2)}\n`);
    };
    const clock = new VirtualClock();
    const readings: BoardReading[] = [];
    const board = await clock.until(
      linkBoard(link, {
        clock,
        random: () => HOST / 2 ** 32,
        onReading: (each) => readings.push(each),
        onLost: (error) => {
          throw error;
        },
      }),
    );
    const played = async () => {
      await board.sense();
      await board.mode('collect');
      await board.capture();
      await board.memory();
      await board.recall(2);
      await board.mode('idle');
      const refused = await board.capture().catch((error: ProtocolError) => error.fault);
      const crc = await board.stage(NEW);
      const sealed = await board.seal(board.identity.generation, crc);
      const inForce = await board.coefficients('in_force');
      const reverted = await board.revert(sealed);
      const before = await board.coefficients('in_force');
      const erased = await board.erase(2);
      await board.ask('rename', { to: 'blue tin' });
      await board.ask('clock', { set: 1_900_000_000 });
      await board.ask('light', { set: 'off' });
      const { revision } = await board.ask('settings', {});
      const { name } = await board.ask('setting', { at: 1 });
      await board.ask('change', { name, value: '20' });
      await board.ask('adopt', { replaces: revision });
      await board.ask('image', {});
      await board.ask('load', { size: IMAGE.length, crc: IMAGE_CRC });
      await board.ask('put', { at: 0, bytes: IMAGE });
      await board.ask('verify', { crc: IMAGE_CRC });
      const { firmware } = await board.ask('swap', { crc: IMAGE_CRC });
      await board.ask('confirm', { firmware });
      await board.ask('restart', {});
      return { refused, sealed, inForce, reverted, before, erased };
    };
    const { refused, inForce, before, ...numbers } = await clock.until(played());
    expect(at).toBe(lines.length);
    expect(numbers).toEqual({ sealed: 2, reverted: 3, erased: 2 });
    expect(refused).toMatchObject({ cause: 'refused', refusal: { code: 'wrong_mode' } });
    expect(inForce).toEqual({ ...NEW, generation: 2, crc: setCrc(NEW) });
    expect(readings.map((each) => each.reading)).toEqual([1, 2]);
    for (const each of readings) expectAngles(before!, each);
  });

  /** The reading's angles are those its own counts give with the set, to the last decimal sent. */
  function expectAngles(
    set: CoefficientSet,
    { acc, mag, azimuth, inclination, roll }: BoardReading,
  ) {
    const computed = angles(set, acc, mag);
    [azimuth, inclination, roll].forEach((sent, i) => expect(sent).toBeCloseTo(computed[i]!, 3));
  }
});

describe('SPEC.md', () => {
  test('names every verb that is implemented, and no other', () => {
    const named = [...section('4. Verbs').matchAll(/^\| `([a-z]+)` /gm)].map((row) => row[1]);
    expect(named.sort()).toEqual(Object.keys(VERBS).sort());
  });

  test('names every kind of event, and no other', () => {
    const named = [...section('5. Events').matchAll(/^\| `([a-z]+)` /gm)].map((row) => row[1]);
    expect(named.sort()).toEqual(Object.keys(EVENTS).sort());
  });

  test('names every error code that is implemented', () => {
    const verbs = section('4. Verbs');
    for (const code of BOARD_CODES) expect(verbs).toContain(`\`${code}\``);
  });

  test('names every field of a reading, of hello, of a setting and of the firmware, and no other', () => {
    const fieldsOf = (heading: string) =>
      [...section(heading).matchAll(/^\| `([a-z_]+)` /gm)].map((row) => row[1]).sort();
    const triple = [1, 2, 3] as const;
    const reading = EVENTS.reading.write({
      ...{ reading: 1, generation: 1, tMs: 1, samples: 1, temperature: 1, volt: 1, azimuth: 1 },
      ...{ inclination: 1, roll: 1, range: 1, acc: triple, mag: triple },
      ...{ accScatter: triple, magScatter: triple },
    });
    expect(fieldsOf('6. A reading')).toEqual(Object.keys(reading).sort());
    const hello = VERBS.hello.answer.write({
      ...{ host: 1, protocol: 1, serial: 's', name: '', hardware: 'h', firmware: 'f' },
      ...{ capabilities: [], accScale: 1, magScale: 1, accMounting: '+x+y+z', accNoise: 1 },
      ...{ magMounting: '+x+y+z', magNoise: 1, chunk: 20, captureMs: 1, generation: 0 },
    });
    expect(fieldsOf('3. Opening')).toEqual(Object.keys(hello).sort());
    const about = { at: 1, name: 'n', label: 'l', value: '1', default: '1', restart: true };
    const settings = [
      { ...about, kind: 'number' as const, min: '1', max: '2', decimals: 1, unit: 'u' },
      { ...about, kind: 'choice' as const, value: 'a', default: 'a', choices: ['a'] },
      { ...about, kind: 'text' as const, longest: 1 },
    ].flatMap((each) => Object.keys(VERBS.setting.answer.write(each)));
    expect(fieldsOf('4.5 Settings')).toEqual([...new Set(settings)].sort());
    const image = VERBS.image.answer.write({
      ...{ slot: 1, running: '1', trial: true, trialSeconds: 10, state: 'checked', size: 1 },
      ...{ crc: '00000000', written: 1, spare: '1', key: '0'.repeat(64) },
    });
    expect(fieldsOf('4.6 Firmware')).toEqual(Object.keys(image).sort());
  });
});
