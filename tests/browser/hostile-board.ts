import {
  formatAnswer,
  formatEvent,
  type Line,
  LineReader,
  parseLine,
} from '../../src/protocol/line.ts';
import { HostedBoard } from '../../sim/hosted-board.ts';
import { boardFrom } from '../../sim/board-line.ts';
import { realClock } from '../../src/transport/real-clock.ts';

type Changes = Readonly<Record<string, string>>;

/** A board that speaks the protocol well, and has its own ideas of what stands in the fields of it. */
export class HostileBoard extends HostedBoard {
  /**
   * @param change which fields of a line it says something else in
   * @param noise what else it says before each answer, a line that is none of the protocol
   */
  constructor(
    private readonly change: (line: Exclude<Line, { kind: 'request' }>) => Changes,
    private readonly noise?: string,
  ) {
    super(boardFrom(''), realClock);
  }

  override attach(...[listener, onGivenWay]: Parameters<HostedBoard['attach']>) {
    const lines = new LineReader((text) => {
      const line = parseLine(text);
      if (typeof line === 'string' || line.kind === 'request') throw new Error(`sent: ${text}`);
      const fields = { ...line.fields, ...this.change(line) };
      if (this.noise !== undefined) listener.bytes(new TextEncoder().encode(`${this.noise}\n`));
      listener.bytes(
        line.kind === 'answer'
          ? formatAnswer(line.tag, line.ok, fields)
          : formatEvent(line.number, line.event, fields),
      );
    });
    const closed = listener.closed.bind(listener);
    return super.attach({ bytes: (chunk) => lines.push(chunk), closed }, onGivenWay);
  }
}
