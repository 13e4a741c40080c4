/** Which part of the page an address asks for, by what stands behind its `#`. */
export type PagePart =
  | { part: 'bench' }
  | { part: 'logbook'; serial?: string }
  | { part: 'report'; serial: string; calibration: string }
  /** Check courses: one of them, by the id of its paper, or the list of all. */
  | { part: 'course'; paper?: string }
  /** Workshops: the list of all, one of them by the id of its paper, or a kit of it. */
  | { part: 'workshop'; paper?: string; kit?: string };

/** @param hash as `location.hash` gives it; whatever is unknown is the bench */
export function partOf(hash: string): PagePart {
  const [part, ...rest] = hash.replace(/^#/, '').split('/');
  if (part === 'report') {
    const [serial, calibration] = rest.map(decoded);
    if (serial && calibration && rest.length === 2) return { part, serial, calibration };
  }
  if (part === 'course') {
    const paper = decoded(rest.join('/'));
    return { part, ...(paper && { paper }) };
  }
  if (part === 'workshop') {
    const [paper, kit] = rest.map(decoded);
    return { part, ...(paper && { paper, ...(kit && { kit }) }) };
  }
  if (part !== 'logbook') return { part: 'bench' };
  const serial = decoded(rest.join('/'));
  return { part: 'logbook', ...(serial && { serial }) };
}

/** The address of a board's page in the logbook, as a link has it. */
export const boardAddress = (serial: string): string => `#logbook/${encodeURIComponent(serial)}`;

/** The address of a check course's page, likewise. */
export const courseAddress = (paper: string): string => `#course/${encodeURIComponent(paper)}`;

/** The address of the report of a calibration, as a link has it. */
export const reportAddress = (serial: string, calibration: string): string =>
  `#report/${encodeURIComponent(serial)}/${encodeURIComponent(calibration)}`;

/** The address of a workshop's page, or of that of one kit of it, likewise; without either, of the list of all. */
export const workshopAddress = (paper?: string, kit?: string): string =>
  ['#workshop', ...[paper, kit].flatMap((id) => (id ? [encodeURIComponent(id)] : []))].join('/');

/** @returns undefined where it is no percent-encoded text */
function decoded(text: string): string | undefined {
  try {
    return decodeURIComponent(text);
  } catch {
    return undefined;
  }
}
