import { createInterface } from 'node:readline/promises';
import type { Readable, Writable } from 'node:stream';
import { Stopped } from '../steps/conformance/talk.ts';
import { NOT_AGREED, NotTried, type Consents, type Hands } from '../steps/conformance/trial.ts';
import {
  reportJson,
  reportText,
  tally,
  verdict,
  type LeaveOptions,
} from '../steps/conformance/report.ts';
import { checkConformance } from '../steps/conformance/run.ts';
import { realClock } from '../transport/real-clock.ts';
import { atBoard, type LinkOptions } from './board-link.ts';
import type { Outcome } from './outcome.ts';

export interface ConformOptions extends LinkOptions {
  consents: Consents;
  /** Someone is at the board, and presses its trigger when asked. */
  press: boolean;
  json: boolean;
}

const LEAVE = {
  readings: '--may-erase',
  settings: '--may-set',
  seal: '--may-seal',
  firstSeal: '--may-seal-first',
  restart: '--may-restart',
  press: '--press',
} as const satisfies LeaveOptions;

/** `conform`: whether a board speaks the protocol. The report goes to standard output, progress to the terminal. */
export function conform(options: ConformOptions): Promise<Outcome> {
  return atBoard(options, async ({ bytes, signal }) => {
    const hands: Hands = options.press
      ? { press: () => askToPress(process.stdin, process.stderr, signal) }
      : {};
    const report = await checkConformance(bytes, {
      clock: realClock,
      random: Math.random,
      consents: options.consents,
      hands,
      signal,
      onProgress: ({ done, of, name }) => progress(`${done + 1} of ${of}: ${name}`),
    });
    progress('');
    const out = options.json ? reportJson(report) : reportText(report, LEAVE);
    const sound = tally(report).failed === 0 && !report.cut;
    return sound ? { code: 0, out } : { code: 1, out, err: `${verdict(report)}\n` };
  });
}

/** One line on the terminal, over the one before; nothing where standard error is no terminal. */
function progress(line: string): void {
  if (process.stderr.isTTY) process.stderr.write(`\r\x1b[K${line}`);
}

/**
 * Asks whoever sits at the terminal to press the trigger, and waits for Enter.
 *
 * @throws Stopped when they want to stop; NotTried where nobody sits there
 */
export async function askToPress(
  input: Readable,
  output: Writable,
  signal: AbortSignal,
): Promise<void> {
  const nobody = new NotTried(NOT_AGREED.press);
  if (input.readableEnded) throw nobody;
  const terminal = createInterface({ input, output });
  // A question is not answered, nor refused, when its input ends; and on a terminal Ctrl-C comes as a key.
  const unanswered = new Promise<never>((_, reject) => {
    terminal.once('SIGINT', () => reject(new Stopped('A person asked to stop.')));
    terminal.once('close', () => reject(nobody));
  });
  const answered = terminal.question('\nPress the trigger of the board once, then Enter here: ', {
    signal,
  });
  try {
    await Promise.race([answered, unanswered]);
  } catch (error) {
    throw signal.aborted ? new Stopped('A person asked to stop.') : error;
  } finally {
    terminal.close();
  }
}
