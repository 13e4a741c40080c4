import { LINE_LIMIT } from '../../protocol/line.ts';
import { messageFault } from './fields-of.ts';
import type { Exchange, Heard, Talk } from './talk.ts';
import type { Finding } from './trial.ts';

/** What must hold of every line that a board sends: looked at when all is said, over all that was. */

export interface ThroughoutCheck {
  readonly name: string;
  readonly section: string;
  readonly says: string;
  /** The lines at fault, or the exchanges; none where all is well. */
  judge(talk: Talk): Finding[];
}

/** Every line at fault, with what was being asked when it came. */
function linesAtFault(talk: Talk, fault: (heard: Heard) => string | undefined): Finding[] {
  return talk.heard.flatMap((heard) => {
    const wanted = fault(heard);
    if (wanted === undefined) return [];
    return [{ sent: heard.during ? [heard.during.sent] : [], came: [heard.text], wanted }];
  });
}

/** Events that are not the next in their conversation. What `again` sends once more is not looked at here. */
function eventsOutOfOrder(talk: Talk): Finding[] {
  const next = new Map<number, number>();
  return linesAtFault(talk, ({ line, conversation, during }) => {
    if (line?.kind !== 'event' || conversation === 0) return undefined;
    const expected = next.get(conversation) ?? 1;
    if (during?.verb === 'again' && line.number < expected) return undefined;
    next.set(conversation, Math.max(expected, line.number + 1));
    return line.number === expected ? undefined : `Event number ${expected}.`;
  });
}

function lateAnswers({ exchanges }: Talk): Finding[] {
  const late = ({ took, within }: Exchange) =>
    took !== undefined && within !== undefined && took > within;
  return exchanges.filter(late).map((exchange) => ({
    sent: [exchange.sent],
    came: exchange.came.map(({ text }) => text),
    wanted: `An answer within ${exchange.within} ms, the link’s own time included; it took ${Math.round(exchange.took!)} ms.`,
  }));
}

export const throughoutChecks: readonly ThroughoutCheck[] = [
  {
    name: 'every line carries its check',
    section: '1.3',
    says: 'Every line of a board ends in one space, # and its CRC-16/IBM-3740 as four upper-case hexadecimal digits.',
    judge: (talk) =>
      linesAtFault(talk, ({ check, printable }) => {
        if (!printable || check === 'right') return undefined;
        return check === 'absent'
          ? 'The check at the end of the line.'
          : 'A check that fits the line. Where this happens only now and then, it is the link that damages bytes: try another before you blame the board.';
      }),
  },
  {
    name: 'no line is too long',
    section: '1.1',
    says: `A line has at most ${LINE_LIMIT} bytes, its LF included.`,
    judge: (talk) =>
      linesAtFault(talk, ({ length }) =>
        length > LINE_LIMIT ? `At most ${LINE_LIMIT} bytes; this line has ${length}.` : undefined,
      ),
  },
  {
    name: 'lines are printable and of the grammar',
    section: '1.4',
    says: 'A line is printable ASCII: words separated by single spaces, an answer or an event, a field name at most once.',
    judge: (talk) =>
      linesAtFault(talk, ({ printable, line, length }) => {
        if (!printable) return 'Printable ASCII.';
        if (!line)
          return length > LINE_LIMIT
            ? undefined
            : 'An answer or an event, as the grammar has them.';
        return line.kind === 'request'
          ? 'An answer or an event; only hosts send requests.'
          : undefined;
      }),
  },
  {
    name: 'one answer to each request',
    section: '2.1',
    says: 'Each request gets one answer, which repeats its tag; nothing is answered that was not asked.',
    judge: (talk) =>
      linesAtFault(talk, ({ stray }) => (stray ? 'No answer that nobody waits for.' : undefined)),
  },
  {
    name: 'answers in time',
    section: '2.2',
    says: 'A board answers within 500 ms, capture and sense within 500 ms more than the capture_ms it declares.',
    judge: lateAnswers,
  },
  {
    name: 'refusals',
    section: '4',
    says: 'An error answer carries a code of this version, and no other.',
    judge: (talk) =>
      linesAtFault(talk, ({ line }) => {
        if (line?.kind !== 'answer' || line.ok) return undefined;
        const fault = messageFault('error', line.fields);
        return fault && `The field ${fault}.`;
      }),
  },
  {
    name: 'numbers of events',
    section: '5',
    says: 'Events are numbered from 1 in each conversation, without gaps.',
    judge: eventsOutOfOrder,
  },
];
