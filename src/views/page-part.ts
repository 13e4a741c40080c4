/** Which part of the page an address asks for, by what stands behind its `#`. */
export type PagePart = { part: 'bench' } | { part: 'logbook'; serial?: string };

/** @param hash as `location.hash` gives it; whatever is unknown is the bench */
export function partOf(hash: string): PagePart {
  const [part, ...rest] = hash.replace(/^#/, '').split('/');
  if (part !== 'logbook') return { part: 'bench' };
  const serial = decoded(rest.join('/'));
  return { part: 'logbook', ...(serial && { serial }) };
}

/** The address of a board's page in the logbook, as a link has it. */
export const boardAddress = (serial: string): string => `#logbook/${encodeURIComponent(serial)}`;

/** @returns undefined where it is no percent-encoded text */
function decoded(text: string): string | undefined {
  try {
    return decodeURIComponent(text);
  } catch {
    return undefined;
  }
}
