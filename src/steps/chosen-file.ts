/** What a person chose with a file input, or dropped. */

/** Why, where the browser cannot read it; nothing was changed. */
export const UNREADABLE =
  'The file could not be read: it was changed, moved or taken away since it was chosen, or this page may not read it. Nothing was changed. Choose it again.';

/** The content of a file; undefined where the browser cannot read it ({@link UNREADABLE}). */
export async function bytesOf(file: Blob): Promise<Uint8Array<ArrayBuffer> | undefined> {
  try {
    return new Uint8Array(await file.arrayBuffer());
  } catch (error) {
    if (!(error instanceof DOMException)) throw error;
    return undefined;
  }
}
