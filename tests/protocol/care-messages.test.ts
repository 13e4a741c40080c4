import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import {
  CARE_LIMITS,
  CARE_VERBS,
  unfit,
  type ImageReport,
  type Setting,
} from '../../src/protocol/care-messages.ts';
import { ProtocolError } from '../../src/protocol/errors.ts';
import { without } from '../../src/steps/copy-without.ts';
import { formatAnswer, formatRequest, LINE_LIMIT, parseLine } from '../../src/protocol/line.ts';

const carry = (bytes: Uint8Array) => {
  const line = parseLine(new TextDecoder().decode(bytes).slice(0, -1));
  if (typeof line === 'string') throw new Error(line);
  return line.fields;
};
const faultOf = (work: () => unknown) => {
  try {
    work();
  } catch (error) {
    if (error instanceof ProtocolError) return error.fault;
    throw error;
  }
  throw new Error('was not refused');
};
const answered = CARE_VERBS.setting.answer;
const throughWire = (setting: Setting) =>
  answered.read(carry(formatAnswer(1, true, answered.write(setting))));

const sleep: Setting = {
  ...{ at: 1, name: 'sleep', label: 'Sleeps after', kind: 'number', value: '10', default: '10' },
  ...{ min: '0', max: '120', decimals: 0, unit: 'min', restart: false },
};

describe('a setting', () => {
  test('is described and understood the same, of whatever kind', () => {
    const beep: Setting = {
      ...{ at: 2, name: 'beep', label: 'Ünïcode', kind: 'switch', value: 'on', default: 'off' },
      restart: true,
    };
    const text: Setting = { ...beep, kind: 'text', value: 'a, b', default: '', longest: 9 };
    const choice: Setting = { ...beep, kind: 'choice', choices: ['on', 'off', 'blink'] };
    for (const each of [sleep, beep, text, choice]) expect(throughWire(each)).toEqual(each);
  });

  test('that contradicts itself is refused', () => {
    const write = answered.write(sleep);
    const read = (change: Record<string, string | readonly string[]>) =>
      faultOf(() => answered.read(carry(formatAnswer(1, true, { ...write, ...change }))));
    expect(read({ value: '121' })).toMatchObject({ cause: 'nonsense', field: 'value' });
    expect(read({ default: 'ten' })).toMatchObject({ cause: 'nonsense', field: 'default' });
    expect(read({ kind: 'slider' })).toMatchObject({ field: 'kind' });
    expect(read({ name: 'x'.repeat(17) })).toMatchObject({ field: 'name' });
    expect(read({ label: 'ü'.repeat(20) })).toMatchObject({ field: 'label' });
    expect(read({ choices: ['a'] })).toMatchObject({ field: 'choices' });
    expect(read({ label: '\u202egnp' })).toMatchObject({ field: 'label' });
  });

  test('a number fits just when it is within its limits and has no more decimals than it may', () => {
    const number = { kind: 'number', min: '-1.5', max: '20', decimals: 2 } as const;
    fc.assert(
      fc.property(fc.integer({ min: -300, max: 2300 }), (hundredths) => {
        const value = String(hundredths / 100);
        const fits = hundredths >= -150 && hundredths <= 2000;
        expect(unfit(number, value) === undefined).toBe(fits);
        expect(unfit({ ...number, decimals: 0 }, value) === undefined).toBe(
          fits && hundredths % 100 === 0,
        );
      }),
    );
    for (const odd of ['', ' 1', '1e1', '+1', '01', '1.', 'NaN', '0x1']) {
      expect(unfit(number, odd)).toBeDefined();
    }
  });

  test('a text fits by its bytes, and not with characters that control how it is shown', () => {
    expect(unfit({ kind: 'text', longest: 4 }, 'äö')).toBeUndefined();
    expect(unfit({ kind: 'text', longest: 3 }, 'äö')).toBeDefined();
    expect(unfit({ kind: 'text' }, 'a\u0000')).toBeDefined();
    expect(unfit({ kind: 'text' }, 'ö'.repeat(9))).toBeDefined();
  });
});

describe('the longest lines fit:', () => {
  test('a setting', () => {
    const choice: Setting = {
      ...{ at: 99, name: 'n'.repeat(16), label: 'ü'.repeat(8), kind: 'choice', restart: true },
      ...{ value: 'v'.repeat(24), default: 'v'.repeat(24) },
      choices: ['v'.repeat(24), 'w'.repeat(24), 'x'.repeat(30)],
    };
    const number: Setting = {
      ...without(choice, 'choices'),
      ...{ kind: 'number', value: '-123456.123456', default: '-123456.123456', decimals: 6 },
      ...{ min: '-999999.9999', max: '999999.99999', unit: 'ü'.repeat(2) },
    };
    for (const each of [choice, number]) {
      const line = formatAnswer(999_999, true, answered.write(each));
      expect(line.length).toBeLessThanOrEqual(LINE_LIMIT);
    }
  });

  test('the report on firmware', () => {
    const long: ImageReport = {
      ...{ slot: 9_999_999, running: 'ü'.repeat(6), trial: true, trialSeconds: 999 },
      ...{ state: 'pending', size: 9_999_999, crc: 'FFFFFFFF', written: 9_999_999 },
      ...{ spare: 'ü'.repeat(6), key: 'F'.repeat(64) },
    };
    const bytes = formatAnswer(999_999, true, CARE_VERBS.image.answer.write(long));
    expect(bytes.length).toBeLessThanOrEqual(LINE_LIMIT);
    expect(CARE_VERBS.image.answer.read(carry(bytes))).toEqual(long);
  });

  test('bytes of an image, which come back as they were', () => {
    const bytes = Uint8Array.from({ length: CARE_LIMITS.put }, (_, i) => 255 - i);
    const put = { at: 9_999_999, bytes };
    const line = formatRequest(999_999, 'put', CARE_VERBS.put.request.write(put));
    expect(line.length).toBeLessThanOrEqual(LINE_LIMIT);
    expect(CARE_VERBS.put.request.read(carry(line))).toEqual(put);
    const more = { at: 0, bytes: new Uint8Array(CARE_LIMITS.put + 1) };
    expect(faultOf(() => CARE_VERBS.put.request.write(more))).toMatchObject({ field: 'bytes' });
  });
});
