/**
 * The two cyclic redundancy checks of the protocol, named as in the catalogue of parametrised CRC algorithms.
 */

/** CRC-16/IBM-3740 (polynomial 0x1021, start 0xFFFF, not reflected): the check at the end of a line. */
export function crc16(bytes: Uint8Array): number {
  let crc = 0xffff;
  for (const byte of bytes) {
    crc ^= byte << 8;
    for (let bit = 0; bit < 8; bit++) crc = crc & 0x8000 ? (crc << 1) ^ 0x1021 : crc << 1;
    crc &= 0xffff;
  }
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
