import { mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { createInterface } from 'node:readline';
import { parseArgs } from 'node:util';
import { KINDS } from '../firmware-sim/kinds.ts';
import { serialOf } from '../firmware-sim/settings.ts';
import { BOARD_FAULTS } from '../src/protocol/simulator.ts';
import { realClock } from '../src/transport/real-clock.ts';
import { BadLine, boardFrom, type BoardLine, number, SETTING_NAMES } from './board-line.ts';
import { BOARD_HELP, HostedBoard } from './hosted-board.ts';
import { hasSocat, PseudoTerminal } from './pseudo-terminal.ts';
import { SocketServer } from './socket-server.ts';

/** Simulated boards as a process: on pseudo-terminals, behind WebSockets, or both; held by whoever types here. */

const DEFAULT_PORT = 4180;

const USAGE = `Usage:
  npm run -s sim -- [--boards N] [--kind KIND] [--seed S] [--board LINE …] [--pty] [--ws PORT] [faults]
      Starts simulated boards. Each is on a pseudo-terminal (--pty, through the program socat), behind a WebSocket on
      this machine (--ws, port ${DEFAULT_PORT} where 0 stands for any that is free), or both; on a pseudo-terminal where
      neither is said.
      --boards N  how many; their seeds follow one another
      --kind      ${KINDS.map(({ name, words }) => `${name}: ${words}`).join('\n                  ')}
      --seed S    the same seed gives the same board
      --board     one board, as kind=ring,seed=7,lose=0.001; give it once for each
      --fault     what is wrong with every board, as acc-stuck: ${Object.keys(BOARD_FAULTS).join(', ')}
      --set       settings of every board, as dip=60,disturbance=5: ${SETTING_NAMES.join(', ')}
      faults      --lose, --double, --flip RATE: the chance of each per byte; --delay MS: how long bytes are held back
                  at most; --drop RATE: the chance per byte that the link drops

  While they run, type for a board (with its number in front where there are several):
${BOARD_HELP}
  help, and Ctrl-C to end.
`;

const OPTIONS = {
  boards: { type: 'string' },
  kind: { type: 'string' },
  seed: { type: 'string' },
  board: { type: 'string', multiple: true },
  fault: { type: 'string' },
  set: { type: 'string', multiple: true },
  pty: { type: 'boolean' },
  ws: { type: 'string' },
  lose: { type: 'string' },
  double: { type: 'string' },
  flip: { type: 'string' },
  delay: { type: 'string' },
  drop: { type: 'string' },
  help: { type: 'boolean', short: 'h' },
} as const;

/** What was asked for on the command line. */
interface Wanted {
  lines: readonly BoardLine[];
  pty: boolean;
  /** Absent where no WebSocket was asked for. */
  port?: number;
}

/** @throws BadLine, or TypeError as `parseArgs` does */
function wantedBy(args: string[]): Wanted | 'help' {
  const { values } = parseArgs({ args, options: OPTIONS });
  if (values.help) return 'help';
  const whole = (name: string, text: string, from: number, to: number): number => {
    const value = number(`--${name}`, text);
    if (Number.isSafeInteger(value) && value >= from && value <= to) return value;
    throw new BadLine(`--${name} is a whole number from ${from} to ${to}, not ${text}.`);
  };
  const seed = whole('seed', values.seed ?? '1', -1e15, 1e15);
  const common = (['kind', 'lose', 'double', 'flip', 'delay', 'drop', 'fault'] as const).flatMap(
    (name) => (values[name] === undefined ? [] : [`${name}=${values[name]}`]),
  );
  const count = whole('boards', values.boards ?? '1', 1, 64);
  if (values.board && values.boards) throw new BadLine('Give --boards or --board, not both.');
  const each = values.board ?? Array.from({ length: count }, () => '');
  const lines = each.map((line, i) =>
    boardFrom(`seed=${seed + i}`, ...common, ...(values.set ?? []), line),
  );
  return {
    lines,
    pty: values.pty ?? values.ws === undefined,
    ...(values.ws !== undefined && { port: whole('ws', values.ws, 0, 65_535) }),
  };
}

async function start(wanted: Wanted): Promise<void> {
  const socat = hasSocat();
  if (wanted.pty && !socat) {
    console.error(
      'There is no socat on this machine, so there is no pseudo-terminal (on Debian: apt-get install socat). The WebSocket serves in its place.',
    );
  }
  const pty = wanted.pty && socat;
  const port = wanted.port ?? (pty ? undefined : DEFAULT_PORT);
  const boards = wanted.lines.map((line) => new HostedBoard(line, realClock));
  const server = port === undefined ? undefined : await SocketServer.at(port, boards);
  const folder = pty ? await mkdtemp(join(tmpdir(), 'lodebench-sim-')) : undefined;
  const terminals: PseudoTerminal[] = [];
  for (const [i, board] of boards.entries()) {
    const path = folder && join(folder, String(i + 1));
    if (path) terminals.push(await PseudoTerminal.at(path, board));
    const { kind, settings } = wanted.lines[i]!;
    const where = [path, server?.address(i)].filter((each) => each !== undefined).join(' and ');
    console.log(
      `board ${i + 1}: ${where} (${serialOf(settings)}, kind ${kind.name}, seed ${settings.seed})`,
    );
  }
  console.log('Type help for what a hand can do; Ctrl-C ends.');

  const typed = createInterface({ input: process.stdin });
  let done = Promise.resolve();
  typed.on('line', (text) => {
    done = done.then(async () => console.log(await obey(boards, text)));
  });

  let ending = false;
  const end = async (): Promise<void> => {
    if (ending) return;
    ending = true;
    typed.close();
    await Promise.all(terminals.map((terminal) => terminal.end()));
    await server?.end();
    if (folder) await rm(folder, { recursive: true, force: true });
    process.exit(0); // a board may still have something to do later, for nobody
  };
  process.on('SIGINT', () => void end());
  process.on('SIGTERM', () => void end());
}

/** Does what one typed line says; gives the words to print. */
async function obey(boards: readonly HostedBoard[], text: string): Promise<string> {
  const words = text.trim().split(/\s+/);
  if (words[0] === '') return '';
  if (words[0] === 'help')
    return `${BOARD_HELP}\n  Where there are several boards, their number comes first: 2 press`;
  const numbered = /^\d+$/.test(words[0]!);
  const at = numbered ? Number(words.shift()) : 1;
  const board = boards[at - 1];
  if (!board) return `There is no board ${at}; there are ${boards.length}.`;
  if (!numbered && boards.length > 1) return 'Say which board, by its number: 1 press';
  const [verb = '', ...rest] = words;
  try {
    return `board ${at}: ${await board.obey(verb, rest)}`;
  } catch (error) {
    if (error instanceof BadLine) return `board ${at}: ${error.message}`;
    throw error;
  }
}

/** Whether `parseArgs` could make nothing of what was written. */
const isMiswritten = (error: unknown): error is TypeError =>
  error instanceof TypeError && 'code' in error && String(error.code).startsWith('ERR_PARSE_ARGS');

try {
  const wanted = wantedBy(process.argv.slice(2));
  if (wanted === 'help') console.log(USAGE);
  else await start(wanted);
} catch (error) {
  if (error instanceof BadLine || isMiswritten(error)) {
    console.error(`${USAGE}\n${error.message}`); // the reason last, where it is not buried
    process.exitCode = 2;
  } else {
    console.error(error instanceof Error ? error.message : String(error));
    process.exit(1);
  }
}
