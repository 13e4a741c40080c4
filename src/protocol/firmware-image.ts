import { crc32 } from './crc.ts';
import { hexWord } from './fields.ts';

/** A file of firmware (docs/files.md): what its header says, and whether it is whole. */

export interface FirmwareImage {
  /** The hardware it fits. */
  hardware: string;
  version: string;
  /** What it does when it is confirmed. */
  resetsSettings: boolean;
  replacesCoefficients: boolean;
  program: Uint8Array;
  /** Ed25519 over {@link signedPart}; absent where it carries none. */
  signature?: Uint8Array;
  /** Size and CRC-32 of the whole file, as `load` names them. */
  size: number;
  crc: string;
}

/** What makes a file no firmware. */
export type ImageFault = 'not_firmware' | 'damaged_header' | 'cut_short' | 'damaged_program';

const MAGIC = 'LODEFW01';
const HEADER = 64;
const SIGNATURE = 64;
const SETTINGS = 1;
const COEFFICIENTS = 2;

const ascii = (bytes: Uint8Array) => String.fromCharCode(...bytes);

/** Text of a header field: up to the first zero byte, with nothing but zeros after it. */
function textAt(file: Uint8Array, at: number): string | undefined {
  const text = ascii(file.subarray(at, at + 12)).replace(/\0+$/, '');
  return /^[\x20-\x7e]{1,12}$/.test(text) ? text : undefined;
}

/** What is signed: header and program. */
export function signedPart(file: Uint8Array): Uint8Array {
  const length = new DataView(file.buffer, file.byteOffset, file.byteLength).getUint32(32);
  return file.subarray(0, HEADER + length);
}

/** The image that a file holds, or what is wrong with it. Whether the signature fits is not looked at. */
export function parseImage(file: Uint8Array): FirmwareImage | ImageFault {
  if (ascii(file.subarray(0, MAGIC.length)) !== MAGIC) return 'not_firmware';
  if (file.length < HEADER) return 'cut_short';
  const view = new DataView(file.buffer, file.byteOffset, file.byteLength);
  if (view.getUint32(60) !== crc32(file.subarray(0, 60))) return 'damaged_header';
  const [hardware, version] = [textAt(file, 8), textAt(file, 20)];
  const [signed, effects] = [file[40]!, file[41]!];
  const isOdd = signed > 1 || effects > 3 || file.subarray(42, 60).some((byte) => byte !== 0);
  if (hardware === undefined || version === undefined || isOdd) return 'damaged_header';
  const length = view.getUint32(32);
  if (file.length !== HEADER + length + signed * SIGNATURE) return 'cut_short';
  const program = file.subarray(HEADER, HEADER + length);
  if (view.getUint32(36) !== crc32(program)) return 'damaged_program';
  return {
    hardware,
    version,
    resetsSettings: (effects & SETTINGS) !== 0,
    replacesCoefficients: (effects & COEFFICIENTS) !== 0,
    program,
    ...(signed === 1 && { signature: file.subarray(HEADER + length) }),
    size: file.length,
    crc: hexWord(crc32(file)),
  };
}

/**
 * Writes an image.
 *
 * @param sign gives the 64 bytes of the signature over header and program; absent for an image without one
 * @throws RangeError for a text that is not 1 to 12 printable ASCII characters
 */
export function formatImage(
  image: Pick<FirmwareImage, 'hardware' | 'version' | 'program'> &
    Partial<Pick<FirmwareImage, 'resetsSettings' | 'replacesCoefficients'>>,
  sign?: (part: Uint8Array) => Uint8Array,
): Uint8Array {
  const part = new Uint8Array(HEADER + image.program.length);
  const view = new DataView(part.buffer);
  const put = (text: string, at: number) => part.set(new TextEncoder().encode(text), at);
  for (const text of [image.hardware, image.version]) {
    if (!/^[\x20-\x7e]{1,12}$/.test(text)) throw new RangeError(`“${text}” fits no image header.`);
  }
  put(MAGIC, 0);
  put(image.hardware, 8);
  put(image.version, 20);
  view.setUint32(32, image.program.length);
  view.setUint32(36, crc32(image.program));
  part[40] = sign ? 1 : 0;
  part[41] =
    (image.resetsSettings ? SETTINGS : 0) | (image.replacesCoefficients ? COEFFICIENTS : 0);
  view.setUint32(60, crc32(part.subarray(0, 60)));
  part.set(image.program, HEADER);
  if (!sign) return part;
  const file = new Uint8Array(part.length + SIGNATURE);
  file.set(part);
  file.set(sign(part), part.length);
  return file;
}
