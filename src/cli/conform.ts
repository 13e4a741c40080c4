import { createInterface } from 'node:readline/promises';
import type { Consents, Hands } from '../steps/conformance/trial.ts';
import { reportJson, reportText, tally, verdict } from '../steps/conformance/report.ts';
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

/** `conform`: whether a board speaks the protocol. The report goes to standard output, progress to the terminal. */
export function conform(options: ConformOptions): Promise<Outcome> {
  return atBoard(options, async ({ bytes, signal }) => {
    const hands: Hands = options.press ? { press: askToPress } : {};
    const report = await checkConformance(bytes, {
      clock: realClock,
      random: Math.random,
      consents: options.consents,
      hands,
      signal,
      onProgress: ({ done, of, name }) => progress(`${done + 1} of ${of}: ${name}`),
    });
    progress('');
    const out = options.json ? reportJson(report) : reportText(report);
    const sound = tally(report).failed === 0 && !report.cut;
    return sound ? { code: 0, out } : { code: 1, out, err: `${verdict(report)}\n` };
  });
}

/** One line on the terminal, over the one before; nothing where standard error is no terminal. */
function progress(line: string): void {
  if (process.stderr.isTTY) process.stderr.write(`\r\x1b[K${line}`);
}

async function askToPress(): Promise<void> {
  const terminal = createInterface({ input: process.stdin, output: process.stderr });
  await terminal.question('\nPress the trigger of the board once, then Enter here: ');
  terminal.close();
}
