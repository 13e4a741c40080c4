import { expect, test } from 'vitest';
import { crc16, crc32 } from '../../src/protocol/crc.ts';

/** Check values, each of the ASCII digits 1 to 9: catalogue of parametrised CRC algorithms. */
const DIGITS = new TextEncoder().encode('123456789');

test('the line’s check is CRC-16/IBM-3740, and none of its neighbours XMODEM, MODBUS and KERMIT', () => {
  expect(crc16(DIGITS)).toBe(0x29b1);
  for (const neighbour of [0x31c3, 0x4b37, 0x2189]) expect(crc16(DIGITS)).not.toBe(neighbour);
});

test('the check of a set of coefficients is CRC-32/ISO-HDLC', () => {
  expect(crc32(DIGITS)).toBe(0xcbf43926);
});

test('of no bytes at all they are what their start and final values make of it', () => {
  expect(crc16(new Uint8Array())).toBe(0xffff);
  expect(crc32(new Uint8Array())).toBe(0);
});
