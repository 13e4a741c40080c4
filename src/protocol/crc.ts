/**
 * The two cyclic redundancy checks of the protocol, named as in the catalogue of parametrised CRC algorithms.
 */

/** What each first byte of the remainder does to the rest: a whole byte at a time instead of eight steps of a bit. */
const TABLE_16 = Uint16Array.from({ length: 256 }, (_, first) => {
  let crc = first << 8;
  for (let bit = 0; bit < 8; bit++) crc = crc & 0x8000 ? (crc << 1) ^ 0x1021 : crc << 1;
  return crc;
});

const next16 = (crc: number, byte: number): number =>
  ((crc << 8) & 0xff00) ^ TABLE_16[(crc >> 8) ^ byte]!;

/** CRC-16/IBM-3740 (polynomial 0x1021, start 0xFFFF, not reflected): the check at the end of a line. */
export function crc16(bytes: Uint8Array): number {
  return bytes.reduce(next16, 0xffff);
}

/** The same of a text in ASCII, without making bytes of it first. A character beyond ASCII counts by its low byte. */
export function crc16OfText(text: string): number {
  let crc = 0xffff;
  for (let at = 0; at < text.length; at++) crc = next16(crc, text.charCodeAt(at) & 0xff);
  return crc;
}

/** CRC-32/ISO-HDLC (polynomial 0x04C11DB7, reflected): the check over a set of coefficients. */
export function crc32(bytes: Uint8Array): number {
  let crc = 0xffffffff;
  for (const byte of bytes) {
    crc ^= byte;
    for (let bit = 0; bit < 8; bit++) crc = crc & 1 ? (crc >>> 1) ^ 0xedb88320 : crc >>> 1;
  }
  return ~crc >>> 0;
}
