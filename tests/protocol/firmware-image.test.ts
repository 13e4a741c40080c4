import fc from 'fast-check';
import { expect, test } from 'vitest';
import { crc32 } from '../../src/protocol/crc.ts';
import { hexWord } from '../../src/protocol/fields.ts';
import { formatImage, parseImage, signedPart } from '../../src/protocol/firmware-image.ts';

const texts = fc.stringMatching(/^[!-~]{1,12}$/);
const images = fc.record({
  hardware: texts,
  version: texts,
  program: fc.uint8Array({ maxLength: 300 }),
  resetsSettings: fc.boolean(),
  replacesCoefficients: fc.boolean(),
});
const signature = Uint8Array.from({ length: 64 }, (_, i) => i);

test('what is written is read back the same, signed or not', () => {
  fc.assert(
    fc.property(images, fc.boolean(), (image, signed) => {
      const file = formatImage(image, signed ? () => signature : undefined);
      const read = parseImage(file);
      expect(read).toMatchObject({ ...image, size: file.length, crc: hexWord(crc32(file)) });
      if (typeof read === 'string') throw new Error(read);
      expect(read.signature).toEqual(signed ? signature : undefined);
      expect(signedPart(file).length).toBe(64 + image.program.length);
    }),
  );
});

test('a file with any bit flipped, or cut anywhere, is no image, except in its signature', () => {
  fc.assert(
    fc.property(images, fc.nat(), fc.nat(7), (image, place, bit) => {
      const file = formatImage(image);
      const at = place % file.length;
      const flipped = file.slice();
      flipped[at]! ^= 1 << bit;
      expect(typeof parseImage(flipped)).toBe('string');
      expect(typeof parseImage(file.subarray(0, at))).toBe('string');
    }),
  );
});

test('arbitrary bytes are no image, and do not throw', () => {
  fc.assert(
    fc.property(fc.uint8Array({ maxLength: 200 }), (bytes) => {
      expect(typeof parseImage(bytes)).toBe('string');
      const dressed = Uint8Array.from([...new TextEncoder().encode('LODEFW01'), ...bytes]);
      expect(typeof parseImage(dressed)).toBe('string');
    }),
  );
});

test('says what is wrong: another file, a header, a part missing, a program', () => {
  const file = formatImage({ hardware: 'h', version: 'v', program: Uint8Array.of(1, 2, 3) });
  const changed = (at: number) => file.map((byte, i) => (i === at ? byte ^ 1 : byte));
  expect(parseImage(changed(0))).toBe('not_firmware');
  expect(parseImage(changed(20))).toBe('damaged_header');
  expect(parseImage(file.subarray(0, 65))).toBe('cut_short');
  expect(parseImage(changed(65))).toBe('damaged_program');
});

test('a text that fits no header is not written', () => {
  const image = { version: '1', program: new Uint8Array(0) };
  expect(() => formatImage({ ...image, hardware: 'thirteen char' })).toThrow(RangeError);
  expect(() => formatImage({ ...image, hardware: 'ä' })).toThrow(RangeError);
});
