import { ed25519 } from '@noble/curves/ed25519.js';
import { describe, expect, test, vi } from 'vitest';
import type { ImageReport } from '../../../src/protocol/care-messages.ts';
import { formatImage } from '../../../src/protocol/firmware-image.ts';
import { judgeFirmware } from '../../../src/steps/care/firmware-fit.ts';
import { isSignedBy } from '../../../src/steps/care/signature.ts';

const BOARD = { hardware: 'tin/2', firmware: '1.0' };
const REPORT: ImageReport = {
  ...{ slot: 4096, running: '1.0', trial: false, trialSeconds: 120, state: 'empty' },
};
const header = { hardware: 'tin/2', version: '1.1', program: Uint8Array.of(1, 2, 3) };
const causes = async (...of: Parameters<typeof judgeFirmware>) =>
  (await judgeFirmware(...of)).unfit.map(({ cause }) => cause);

test('firmware that fits may go, and what it will do is said first', async () => {
  const file = formatImage({ ...header, resetsSettings: true });
  const { unfit, words, image } = await judgeFirmware(file, BOARD, REPORT, 3.9);
  expect(unfit).toEqual([]);
  expect(image).toMatchObject({ version: '1.1', hardware: 'tin/2' });
  expect(words.join(' ')).toContain('puts every setting back');
  expect(words.join(' ')).toContain('Version 1.0 stays on the board');
});

describe('firmware is refused before a byte of it is sent', () => {
  test('for another kind of board, too large, or onto a low supply', async () => {
    const file = formatImage({ ...header, hardware: 'other' });
    expect(await causes(file, BOARD, { ...REPORT, slot: 60 }, 3.4)).toEqual([
      'other_hardware',
      'too_large',
      'low_supply',
    ]);
  });

  test('when it is no firmware, or damaged', async () => {
    expect(await causes(Uint8Array.of(1, 2), BOARD, REPORT, 3.9)).toEqual(['not_firmware']);
    const file = formatImage(header);
    expect(await causes(file.subarray(0, 66), BOARD, REPORT, 3.9)).toEqual(['cut_short']);
  });

  test('while a trial lasts, or when it runs already', async () => {
    expect(await causes(formatImage(header), BOARD, { ...REPORT, trial: true }, 3.9)).toEqual([
      'on_trial',
    ]);
    const same = formatImage({ ...header, version: '1.0' });
    expect(await causes(same, BOARD, REPORT, undefined)).toEqual(['same_image']);
  });

  test('unsigned or forged, where the board demands a signature', async () => {
    const secret = Uint8Array.from({ length: 32 }, (_, i) => i);
    const other = secret.map((byte) => byte ^ 1);
    const key = [...ed25519.getPublicKey(secret)]
      .map((byte) => byte.toString(16).padStart(2, '0').toUpperCase())
      .join('');
    const demanding = { ...REPORT, key };
    const signed = (by: Uint8Array) => formatImage(header, (part) => ed25519.sign(part, by));
    expect(await causes(formatImage(header), BOARD, demanding, 3.9)).toEqual(['unsigned']);
    expect(await causes(signed(other), BOARD, demanding, 3.9)).toEqual(['forged']);
    expect(await causes(signed(secret), BOARD, demanding, 3.9)).toEqual([]);
  });
});

/** RFC 8032, section 7.1, TEST 2: one byte of message. */
describe('a signature', () => {
  const hex = (digits: string) =>
    Uint8Array.from(digits.match(/../g)!, (pair) => parseInt(pair, 16));
  const key = hex('3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c');
  const signature = hex(
    '92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00',
  );

  test('fits what RFC 8032 says it fits, and nothing else', async () => {
    expect(await isSignedBy(key, signature, Uint8Array.of(0x72))).toBe(true);
    expect(await isSignedBy(key, signature, Uint8Array.of(0x73))).toBe(false);
  });

  test('is judged the same by the library, where the browser knows no Ed25519', async () => {
    const lacking = vi
      .spyOn(crypto.subtle, 'importKey')
      .mockRejectedValue(new DOMException('Unrecognized name.', 'NotSupportedError'));
    expect(await isSignedBy(key, signature, Uint8Array.of(0x72))).toBe(true);
    expect(await isSignedBy(key, signature, Uint8Array.of(0x73))).toBe(false);
    expect(lacking).toHaveBeenCalled();
    lacking.mockRestore();
  });
});
