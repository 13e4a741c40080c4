/** Whether a signature fits what was signed: Ed25519 (RFC 8032), by the browser where it can, else by a library. */

/**
 * @param key the public key, 32 bytes
 * @param signature 64 bytes
 */
export async function isSignedBy(
  key: Uint8Array,
  signature: Uint8Array,
  part: Uint8Array,
): Promise<boolean> {
  const own = await imported(key);
  if (own) return crypto.subtle.verify('Ed25519', own, copy(signature), copy(part));
  const { ed25519 } = await import('@noble/curves/ed25519.js');
  return ed25519.verify(signature, part, key);
}

/** The key as the browser has it; nothing where it knows no Ed25519 (or has no `subtle`, on a page without a secure origin). */
async function imported(key: Uint8Array): Promise<CryptoKey | undefined> {
  try {
    return await globalThis.crypto?.subtle?.importKey('raw', copy(key), 'Ed25519', false, [
      'verify',
    ]);
  } catch {
    return undefined; // whatever it is that the browser cannot do, the library can
  }
}

/** The same bytes in a buffer of their own, as the browser's interface demands. */
const copy = (bytes: Uint8Array): Uint8Array<ArrayBuffer> => Uint8Array.from(bytes);
