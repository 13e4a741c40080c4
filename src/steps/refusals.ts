import { ProtocolError } from '../protocol/errors.ts';

/** What a failure says of what the board has done. */

/** Whether a capture that failed so brings no reading any more. */
export function isWithoutReading(error: unknown): boolean {
  if (!(error instanceof ProtocolError)) return false;
  const { fault } = error;
  if (fault.cause === 'cancelled') return !fault.sent;
  return ['refused', 'reading_lost', 'nonsense'].includes(fault.cause);
}

/** Whether the board itself said no, with this code or any. */
export function isRefusal(error: unknown, code?: string): boolean {
  if (!(error instanceof ProtocolError) || error.fault.cause !== 'refused') return false;
  return code === undefined || error.fault.refusal.code === code;
}
