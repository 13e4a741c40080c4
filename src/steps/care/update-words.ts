/** A change of firmware in words. */

/** @param left milliseconds; no number before anything was sent */
export function sendingWords(left: number): string {
  if (!Number.isFinite(left)) return 'Sending the firmware';
  const seconds = Math.ceil(left / 1000);
  const time =
    seconds < 90
      ? `${seconds} second${seconds === 1 ? '' : 's'}`
      : `${Math.round(seconds / 60)} minutes`;
  return `Sending the firmware, about ${time} left`;
}

/** What became of settings and coefficients. @param otherwise what is not as it was, a sentence each */
export const andSo = (otherwise: readonly string[]): string =>
  otherwise.length === 0
    ? 'Settings and coefficients are as they were, read back. Calibrate again before you rely on it: a firmware change is a reason to.'
    : `${otherwise.join(' ')} Calibrate again before you rely on it.`;
