import { createPrivateKey, createPublicKey, sign, type KeyObject } from 'node:crypto';
import { formatImage, parseImage, signedPart } from '../protocol/firmware-image.ts';
import { isSignedBy } from '../steps/care/signature.ts';
import { Stopped, stopped } from './board-link.ts';
import { readBytes, writeNew } from './files.ts';
import { failed, UsageError, type Outcome } from './outcome.ts';

export interface ImageOptions {
  /** File of the program. */
  program: string;
  hardware: string;
  version: string;
  out: string;
  /** File of an Ed25519 private key in PEM. */
  sign?: string;
  resetsSettings: boolean;
  replacesCoefficients: boolean;
}

/** `image`: a maker's tool that wraps a program into an image file, which `firmware` takes. */
export async function image(options: ImageOptions): Promise<Outcome> {
  for (const [name, text] of [
    ['hardware', options.hardware],
    ['version', options.version],
  ] as const) {
    if (!/^[\x20-\x7e]{1,12}$/.test(text)) {
      throw new UsageError(`--${name} is 1 to 12 printable ASCII characters, not “${text}”`);
    }
  }
  try {
    return await wrapped(options);
  } catch (error) {
    return stopped(error);
  }
}

/** @throws Stopped */
async function wrapped(options: ImageOptions): Promise<Outcome> {
  const program = readBytes(options.program);
  if (!program.ok) return failed(program.message);
  if (program.bytes.length === 0) return failed(`${options.program}: the file is empty. Nothing was written.`); // prettier-ignore
  const key = options.sign === undefined ? undefined : keyIn(options.sign);
  const { hardware, version, resetsSettings, replacesCoefficients, out } = options;
  const parts = { hardware, version, program: Uint8Array.from(program.bytes) };
  const file = formatImage(
    { ...parts, resetsSettings, replacesCoefficients },
    key && ((part) => Uint8Array.from(sign(null, part, key))),
  );
  const written = writeNew(out, file);
  if (!written.ok) return failed(`${written.message} Give another name.`);
  const back = readBytes(out);
  const read = back.ok ? parseImage(Uint8Array.from(back.bytes)) : 'it could not be read back';
  if (typeof read === 'string' || !(await fits(file, read.signature, key))) {
    return failed(`${out}: what was written is no image, read back. Do not use it.`);
  }
  return {
    code: 0,
    out: [
      `Written to ${out}, and read back: version ${version} for hardware “${hardware}”, ${read.size} bytes, CRC-32 ${read.crc}.`,
      key
        ? `Signed. A board that demands signatures of this key says key=${publicDigits(key)} in “image”.`
        : 'Not signed: a board that demands a signature refuses it.',
      '',
    ].join('\n'),
  };
}

async function fits(
  file: Uint8Array,
  signature: Uint8Array | undefined,
  key: KeyObject | undefined,
): Promise<boolean> {
  if (!key) return signature === undefined;
  return signature !== undefined && isSignedBy(publicBytes(key), signature, signedPart(file));
}

/** @throws Stopped */
function keyIn(path: string): KeyObject {
  const file = readBytes(path);
  if (!file.ok) throw new Stopped(file.message);
  const wanted = `${path}: this is no private Ed25519 key in PEM without a password (“openssl genpkey -algorithm ed25519” makes one). Nothing was written.`;
  try {
    const key = createPrivateKey(Buffer.from(file.bytes));
    if (key.asymmetricKeyType === 'ed25519') return key;
  } catch {
    throw new Stopped(wanted); // whatever else it may be, it is not that
  }
  throw new Stopped(wanted);
}

/** The public key's 32 bytes: the last of its SubjectPublicKeyInfo (RFC 8410). */
const publicBytes = (key: KeyObject): Uint8Array =>
  Uint8Array.from(createPublicKey(key).export({ type: 'spki', format: 'der' })).slice(-32);

const publicDigits = (key: KeyObject): string =>
  Buffer.from(publicBytes(key)).toString('hex').toUpperCase();
