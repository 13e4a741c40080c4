import { parseArgs } from 'node:util';
import type { LinkOptions } from './board-link.ts';
import { checkName, clock, light, rename } from './care.ts';
import { collect } from './collect.ts';
import { conform } from './conform.ts';
import { firmware } from './firmware.ts';
import { identify } from './identify.ts';
import { memory } from './memory.ts';
import { UsageError, type Outcome } from './outcome.ts';
import { ports } from './ports.ts';
import { save } from './save.ts';
import { rescue } from './rescue.ts';
import { revert, seal } from './seal.ts';
import { settings } from './settings.ts';
import { verify } from './verify.ts';

/** The commands that talk to a board. */

export const BOARD_USAGE = `  npm run -s cli -- ports
      Lists the serial ports of this machine.

  npm run -s cli -- identify PORT [--json]
      Says what a board is and what is on it.

  npm run -s cli -- save PORT --out FILE.json [--make-room]
      Saves all that is on a board: what it is, its coefficients, the readings in its memory.
      --make-room  once they are on disk, the board may forget its readings

  npm run -s cli -- collect PORT --out READINGS.csv [--readings N] [--capture] [--any-north]
      Shows the aims of the plan in turn and stores each reading before the next. The same command goes on where
      it stopped.
      --readings   how many readings the file is to have; the whole plan without it
      --capture    press Enter for each reading, in place of the board's own trigger
      --any-north  magnetic north was not set out: azimuths count from any line, and stay out of the file

  npm run -s cli -- seal PORT COEFFICIENTS.json [--save FILE.json]
      Saves what is on the board, then stages, checks and seals the coefficients, reads them back and compares. A file
      of a board's content will do too: those in force in it are sealed.
      --save  where that goes; beside the coefficients, under a name made of the board and the time, without it

  npm run -s cli -- verify PORT COEFFICIENTS.json
      Compares what the board runs with the file, bit by bit, and the board's own angles with ours.

  npm run -s cli -- revert PORT [--save FILE.json]
      Saves what is on the board, then puts the coefficients before in force again.
      --save  where that goes; into the folder at hand, under a name made of the board and the time, without it

  npm run -s cli -- memory PORT [--out READINGS.csv] [--survey SURVEY.csv] [--erase]
      Lists what is in a board's memory.
      --out     all of it into a readings file, raw counts and all else that the board said
      --survey  the board's own angles and ranges into a file for surveys
      --erase   once it is in the file of --out, read back and compared, the board may forget it

  npm run -s cli -- settings PORT [--set NAME=VALUE ...] [--out SETTINGS.json | --restore SETTINGS.json]
      Shows a board's settings: name, label, value, what it may be.
      --set      changes settings, all of them together, and reads them back; may stand several times
      --out      saves them to a file
      --restore  puts back what differs from a file, and says what cannot be put back

  npm run -s cli -- rename PORT NAME
      Gives a board the name that its keeper calls it by; '' takes it away.

  npm run -s cli -- clock PORT [--now]
      Shows a board's clock beside this machine's; --now sets it by that.

  npm run -s cli -- light PORT on|off
      Switches a board's pointer light. Never look into it, nor point it at anyone's eyes.

  npm run -s cli -- firmware PORT [IMAGE [--confirm-by-hand] | --back] [--save BOARD.json]
      Says which firmware runs and which is spare. With an image: judges whether it fits, saves what is on the board,
      sends it, has it started and looked at, confirms it, and puts back what it changed. After a break at any point
      the same command goes on.
      --back             the firmware in the spare slot in its place, in the same way; or ends a trial
      --confirm-by-hand  asks before it is confirmed
      --save             the file that it is saved in; a name made of the board and the version without it

  npm run -s cli -- rescue PORT [--saved BOARD.json] [--json]
      Says what is the matter with a board that cannot be worked with, and what can be done. On a serial port it tries
      the usual speeds. It changes nothing on the board.
      --saved  what was on the board before, to see whether its coefficients were lost

  npm run -s cli -- conform PORT [--json] [--may-erase] [--may-set] [--may-seal] [--may-seal-first]
                    [--may-restart] [--press]
      Checks that a board speaks the protocol, and leaves it as it was found. Without leave it changes nothing that the
      board keeps, and does not try what needs it.
      --may-erase       take readings and erase them again, if the board's memory is empty
      --may-set         rename it and change a setting, and put both back
      --may-seal        seal coefficients that measure the same but for roll, and go back to those in force now
      --may-seal-first  seal a first set on a board that has none; that cannot be taken back
      --may-restart     have it start again
      --press           someone is there to press its trigger when asked (with --may-erase)

  PORT is a serial port (/dev/ttyUSB0, COM3), an address (ws://localhost:4180/1) or a recording (play:FILE). With each:
      --baud N      bits a second of a serial port (115200)
      --signals     leave DTR and RTS of a serial port set: a few USB boards say nothing without
      --record FILE write the conversation down
`;

const saveOption = { save: { type: 'string' } } as const;

const LINK = {
  baud: { type: 'string' },
  signals: { type: 'boolean' },
  record: { type: 'string' },
} as const;

type Options = NonNullable<NonNullable<Parameters<typeof parseArgs>[0]>['options']>;

const COMMANDS: Readonly<Record<string, (args: string[]) => Promise<Outcome>>> = {
  ports: (args) => {
    parse(args, [], {});
    return ports();
  },
  identify: (args) => {
    const { link, values } = parse(args, ['a port'], { json: { type: 'boolean' } });
    return identify({ ...link, json: values['json'] === true });
  },
  save: (args) => {
    const { link, values } = parse(args, ['a port'], {
      out: { type: 'string' },
      'make-room': { type: 'boolean' },
    });
    return save({
      ...link,
      out: needed(values['out'], 'out', 'what is on the board goes'),
      makeRoom: values['make-room'] === true,
    });
  },
  collect: (args) => {
    const { link, values } = parse(args, ['a port'], {
      out: { type: 'string' },
      readings: { type: 'string' },
      capture: { type: 'boolean' },
      'any-north': { type: 'boolean' },
    });
    const { readings } = values;
    return collect({
      ...link,
      out: needed(values['out'], 'out', 'the readings go'),
      ...(typeof readings === 'string' && { readings: whole(readings, 'readings') }),
      capture: values['capture'] === true,
      anyNorth: values['any-north'] === true,
    });
  },
  seal: (args) => {
    const { link, values, rest } = parse(args, ['a port', 'a file of coefficients'], {
      save: { type: 'string' },
    });
    return seal({ ...link, ...saved(values), coefficients: rest[0]! });
  },
  verify: (args) => {
    const { link, rest } = parse(args, ['a port', 'a file of coefficients'], {});
    return verify({ ...link, coefficients: rest[0]! });
  },
  conform: (args) => {
    const flag = { type: 'boolean' } as const;
    const { link, values } = parse(args, ['a port'], {
      ...{ json: flag, press: flag, 'may-erase': flag, 'may-set': flag, 'may-seal': flag },
      ...{ 'may-seal-first': flag, 'may-restart': flag },
    });
    const firstSeal = values['may-seal-first'] === true;
    return conform({
      ...link,
      json: values['json'] === true,
      press: values['press'] === true,
      consents: {
        readings: values['may-erase'] === true,
        settings: values['may-set'] === true,
        seal: values['may-seal'] === true || firstSeal,
        firstSeal,
        restart: values['may-restart'] === true,
      },
    });
  },
  memory: (args) => {
    const { link, values } = parse(args, ['a port'], {
      out: { type: 'string' },
      survey: { type: 'string' },
      erase: { type: 'boolean' },
    });
    const { out, survey } = values;
    const erase = values['erase'] === true;
    if (erase && typeof out !== 'string') {
      throw new UsageError(
        '--erase goes with --out: only that file holds the raw counts, without which a reading cannot be worked out again',
      );
    }
    return memory({
      ...link,
      ...(typeof out === 'string' && { out }),
      ...(typeof survey === 'string' && { survey }),
      erase,
    });
  },
  settings: (args) => {
    const { link, values } = parse(args, ['a port'], {
      set: { type: 'string', multiple: true },
      out: { type: 'string' },
      restore: { type: 'string' },
    });
    const { out, restore } = values;
    const changes = changesIn(values['set']);
    if ([changes.size > 0, out, restore].filter(Boolean).length > 1) {
      throw new UsageError('give one of --set, --out and --restore');
    }
    return settings({
      ...link,
      changes,
      ...(typeof out === 'string' && { out }),
      ...(typeof restore === 'string' && { restore }),
    });
  },
  rename: (args) => {
    const { link, rest } = parse(args, ['a port', 'a name'], {});
    checkName(rest[0]!);
    return rename({ ...link, name: rest[0]! });
  },
  clock: (args) => {
    const { link, values } = parse(args, ['a port'], { now: { type: 'boolean' } });
    return clock({ ...link, set: values['now'] === true });
  },
  light: (args) => {
    const { link, rest } = parse(args, ['a port', 'on or off'], {});
    const [set] = rest;
    if (set !== 'on' && set !== 'off') throw new UsageError(`light is on or off, not '${set}'`);
    return light({ ...link, set });
  },
  firmware: (args) => {
    const { link, rest, values } = parse(
      args,
      ['a port'],
      { ...saveOption, 'confirm-by-hand': { type: 'boolean' }, back: { type: 'boolean' } },
      ['an image'],
    );
    const [image] = rest;
    const back = values['back'] === true;
    if (back && image !== undefined) throw new UsageError('give an image or --back, not both');
    return firmware({
      ...link,
      ...saved(values),
      ...(image !== undefined && { image }),
      back,
      confirmByHand: values['confirm-by-hand'] === true,
    });
  },
  rescue: (args) => {
    const { link, values } = parse(args, ['a port'], {
      saved: { type: 'string' },
      json: { type: 'boolean' },
    });
    const before = values['saved'];
    return rescue({
      ...link,
      ...(typeof before === 'string' && { saved: before }),
      json: values['json'] === true,
    });
  },
  revert: (args) => {
    const { link, values } = parse(args, ['a port'], { save: { type: 'string' } });
    return revert({ ...link, ...saved(values) });
  },
};

/** The command of that name, if it is one that talks to a board. */
export function boardCommand(name: string): ((args: string[]) => Promise<Outcome>) | undefined {
  return Object.hasOwn(COMMANDS, name) ? COMMANDS[name] : undefined;
}

type Values = Partial<Record<string, string | boolean | (string | boolean)[]>>;

/** @throws UsageError */
function changesIn(pairs: Values[string]): Map<string, string> {
  const changes = new Map<string, string>();
  for (const pair of Array.isArray(pairs) ? pairs : []) {
    const [, name, value] = /^([a-z][a-z0-9_]*)=(.*)$/su.exec(String(pair)) ?? [];
    if (name === undefined || value === undefined) {
      throw new UsageError(`--set takes NAME=VALUE, not '${String(pair)}'`);
    }
    if (changes.has(name)) throw new UsageError(`--set names ${name} twice`);
    changes.set(name, value);
  }
  return changes;
}

/**
 * @param names what must stand there
 * @param perhaps what may stand behind it
 * @throws UsageError
 */
function parse(
  args: string[],
  names: readonly string[],
  own: Options,
  perhaps: readonly string[] = [],
): { link: LinkOptions; rest: string[]; values: Values } {
  const options = { ...own, ...(names.length > 0 && LINK) };
  let values: Values;
  let positionals: string[];
  try {
    ({ values, positionals } = parseArgs({ args, options, allowPositionals: true }));
  } catch (error) {
    if (error instanceof TypeError) throw new UsageError(error.message);
    throw error;
  }
  const [least, most] = [names.length, names.length + perhaps.length];
  if (positionals.length < least || positionals.length > most) {
    const may = perhaps.map((name) => `, and may have ${name}`).join('');
    throw new UsageError(`this command takes ${names.join(' and ') || 'nothing'}${may}`);
  }
  const [port = '', ...rest] = positionals;
  const { baud, record } = values;
  return {
    values,
    rest,
    link: {
      port,
      ...(typeof baud === 'string' && { baud: whole(baud, 'baud') }),
      ...(values['signals'] === true && { keepSignals: true }),
      ...(typeof record === 'string' && { record }),
    },
  };
}

function needed(value: Values[string], name: string, what: string): string {
  if (typeof value === 'string' && value !== '') return value;
  throw new UsageError(`--${name} is missing: say where ${what}`);
}

const saved = ({ save }: Values) => (typeof save === 'string' ? { save } : {});

function whole(text: string, name: string): number {
  const value = Number(text);
  if (/^\d+$/.test(text) && Number.isSafeInteger(value) && value > 0) return value;
  throw new UsageError(`--${name} is a whole number above zero, not '${text}'`);
}
