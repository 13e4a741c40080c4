import fc from 'fast-check';
import { expect, test } from 'vitest';
import { recordedBytes, recordingLine } from '../../src/protocol/recording-format.ts';

test('whatever bytes are written down in a recording are read back, from printable text that ends in no space', () => {
  const line = fc.uint8Array({ maxLength: 40 }).map((bytes) => bytes.filter((b) => b !== 0x0a));
  fc.assert(
    fc.property(line, fc.boolean(), (said, whole) => {
      const bytes = Uint8Array.from([...said, ...(whole ? [0x0a] : [])]);
      const written = recordingLine(12.4, '<', bytes);
      expect(written).toMatch(/^12 <( [!-~]([ -~]*[!-~])?)?$/);
      expect(recordedBytes(written.slice('12 < '.length))).toEqual(bytes);
    }),
  );
});

test('what no recording holds is not read', () => {
  for (const text of ['é', '\\x0', '\\xff', 'a\\b', '\t']) {
    expect(recordedBytes(text), text).toBeUndefined();
  }
});
