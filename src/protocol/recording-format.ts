/** How the lines of a conversation are written down: the format of a recording, which is in docs/files.md. */

/** The first line of a recording. */
export const RECORDING_HEAD = 'lodebench-recording 1';

/** `>` to the board, `<` from it (SPEC.md, section 9); the link opened (`+`), or ended (`-`). */
export type RecordingMark = '>' | '<' | '+' | '-';

const LF = 0x0a;

/**
 * One line of a recording, without its line end.
 *
 * @param ms since the recording began; rounded here
 * @param bytes what was said, the LF of a whole line included; that of a line said in pieces only in the last
 */
export function recordingLine(ms: number, mark: RecordingMark, bytes: Uint8Array): string {
  const whole = bytes.at(-1) === LF;
  const text = printable(whole ? bytes.subarray(0, -1) : bytes) + (whole ? '' : '\\');
  return `${Math.round(ms)} ${mark}${text === '' ? '' : ` ${text}`}`;
}

/** Bytes as printable text: a backslash, a space at either end and what is not printable ASCII as `\xHH`. */
export function printable(bytes: Uint8Array): string {
  return Array.from(bytes, (byte, i) => {
    const plain = byte >= 0x20 && byte < 0x7f && byte !== 0x5c;
    const lost = byte === 0x20 && (i === 0 || i === bytes.length - 1);
    return plain && !lost
      ? String.fromCharCode(byte)
      : `\\x${byte.toString(16).toUpperCase().padStart(2, '0')}`;
  }).join('');
}

/** The bytes that stand behind the mark in a line of {@link recordingLine}; undefined where it is none such. */
export function recordedBytes(text: string): Uint8Array | undefined {
  if (!/^([ -[\]-~]|\\x[0-9A-F]{2})*\\?$/.test(text)) return undefined;
  const whole = !text.endsWith('\\');
  const bytes = (whole ? text : text.slice(0, -1))
    .match(/\\x..|./g)
    ?.map((each) => (each.length > 1 ? parseInt(each.slice(2), 16) : each.charCodeAt(0)));
  return Uint8Array.from([...(bytes ?? []), ...(whole ? [LF] : [])]);
}
