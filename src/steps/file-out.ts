/** A file for the person. */
export interface FileOut<Content extends BlobPart = BlobPart> {
  name: string;
  content: Content;
  /** Media type. */
  type: string;
}

/** A name that any system takes, from its parts: what a board is called may be anything. Empty parts are left out. */
export const fileName = (parts: readonly (string | undefined)[], ending: string): string =>
  `${parts
    .flatMap((part) => part?.replace(/[^A-Za-z0-9 _-]+/g, '_').slice(0, 40) || [])
    .join(' ')}.${ending}`;
