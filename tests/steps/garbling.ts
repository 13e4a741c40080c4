import { formatAnswer, formatEvent, parseLine } from '../../src/protocol/line.ts';

/** What spoils a board's lines on their way, with checks that are right again: for firmware that is at fault. */

/** A line as the link carries it, without its LF. */
export const asText = (bytes: Uint8Array): string => new TextDecoder().decode(bytes).trimEnd();

/** Puts a temperature that no board may send into a reading, in the event and in the answer to recall alike. */
export function absurdTemperatureOf(reading: number): (line: string) => string {
  return (text) => {
    const line = parseLine(text);
    if (typeof line === 'string' || line.kind === 'request' || !('acc' in line.fields)) return text;
    if (line.fields['reading']?.[0] !== String(reading)) return text;
    const fields = { ...line.fields, temp_c: '999' };
    return asText(
      line.kind === 'event'
        ? formatEvent(line.number, line.event, fields)
        : formatAnswer(line.tag, line.ok, fields),
    );
  };
}

/** Makes the event of a reading longer than a line may be. */
export function overlongEventOf(reading: number): (line: string) => string {
  return (text) => {
    const line = parseLine(text);
    const meant =
      typeof line !== 'string' &&
      line.kind === 'event' &&
      line.fields['reading']?.[0] === String(reading);
    return meant ? `${text.slice(0, -5)} ${'x'.repeat(320)}${text.slice(-5)}` : text;
  };
}
