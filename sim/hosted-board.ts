import { type Quirks, SimulatedBoard } from '../firmware-sim/board.ts';
import { randomStream, type Random } from '../firmware-sim/random.ts';
import type { Clock } from '../src/protocol/clock.ts';
import type { LinkListener } from '../src/protocol/link.ts';
import type { Attitude } from '../src/protocol/simulator.ts';
import { type BoardLine, BadLine, changedSettings, number } from './board-line.ts';
import { CUSTOMARY_AIMS } from './customary-aims.ts';

/** What a person may say to one board; where the words begin with a board's number, they are for that board. */
export const BOARD_HELP = `  aim AZIMUTH INCLINATION ROLL [DISTANCE]
                                 the hand brings the board to this attitude, degrees, and holds it still; metres to what
                                 it is aimed at (5), for a range module
  press                          presses the board's trigger
  plan [SECONDS [FROM]]          goes through the customary plan, aiming and pressing every so many seconds (2), from
                                 the first of its readings or a later one on; aim, press and restart end it
  drop [BYTES]                   the link drops: now, or when so many more bytes have crossed it
  restart                        the board loses its power, and has it again
  ails nothing|silence|noise|restarts
                                 from now on it is well, says nothing, answers in noise, or starts again every second
  set NAME=VALUE …               changes settings`;

/** Every board takes so many bytes in one write (SPEC.md, section 3). */
const LEAST_CHUNK = 20;

const wellMannered = { silent: false, lateMs: 0, twice: false };
const well: Partial<Quirks> = { garbled: false, restartsEveryMs: 0, manners: wellMannered };

/** What a board may have, so that finding it out can be tried. */
const AILMENTS: Readonly<Record<string, Partial<Quirks>>> = {
  nothing: well,
  silence: { ...well, manners: { ...wellMannered, silent: true } },
  noise: { ...well, garbled: true },
  restarts: { ...well, restartsEveryMs: 1000 },
};

/** The far end of a link, as a pseudo-terminal or a WebSocket has it. */
export interface Attachment {
  send(bytes: Uint8Array): void;
  detach(): void;
}

/** A simulated board on the clock of the machine, the hand that holds it, and its one link. */
export class HostedBoard {
  readonly board: SimulatedBoard;
  readonly #drops: Random;
  readonly #clock: Clock;
  /** Ends the walk through the plan, where one is under way. */
  #endWalk = (): void => {};
  #attached: { listener: LinkListener; giveWay?: () => void } | undefined;

  constructor(
    private readonly line: BoardLine,
    clock: Clock,
  ) {
    const { kind, settings } = line;
    this.#clock = clock;
    this.board = new SimulatedBoard(settings, clock, { build: kind.build });
    this.#drops = randomStream(settings.seed, 'drops of the link');
  }

  get isAttached(): boolean {
    return this.#attached !== undefined;
  }

  /**
   * Opens the board's link.
   *
   * @param onGivenWay for a far end that cannot tell when nobody uses it any more: it gives way to the next one, and is told
   * @throws LinkError `in_use` while it is open elsewhere; Error while the board has no power
   */
  attach(listener: LinkListener, onGivenWay?: () => void): Attachment {
    this.#attached?.giveWay?.();
    const port = this.board.connect({
      bytes: (chunk) => listener.bytes(chunk),
      closed: (end) => {
        this.#attached = undefined;
        listener.closed(end);
      },
    });
    const isMine = () => this.#attached?.listener === listener;
    const detach = () => {
      if (isMine()) this.#attached = undefined;
      port.close();
    };
    const giveWay = onGivenWay && { giveWay: () => (detach(), onGivenWay()) };
    this.#attached = { listener, ...giveWay };
    if (this.line.drop > 0) this.board.dropAfter(this.#bytesUntilDrop());
    return {
      send: (bytes) => {
        // A pseudo-terminal gives bytes as they come, and a board takes no more at once than it says.
        for (let at = 0; at < bytes.length; at += LEAST_CHUNK) {
          if (isMine()) port.send(bytes.subarray(at, at + LEAST_CHUNK));
        }
      },
      detach,
    };
  }

  /** Does what a person says; gives what was done, in words. Throws BadLine for what it does not understand. */
  async obey(verb: string, words: readonly string[]): Promise<string> {
    switch (verb) {
      case 'aim': {
        if (words.length !== 3 && words.length !== 4) {
          throw new BadLine('aim takes azimuth, inclination and roll, and a distance if need be.');
        }
        const azimuth = within('azimuth', words[0]!, -360, 360);
        const inclination = within('inclination', words[1]!, -90, 90);
        const roll = within('roll', words[2]!, -360, 360);
        const distance = words[3] === undefined ? undefined : within('distance', words[3], 0, 900);
        this.#endWalk();
        const held = { azimuth, inclination, roll };
        await this.board.hold(distance === undefined ? held : { ...held, distance });
        const far = distance === undefined ? '' : `, ${distance} m away`;
        return `held at azimuth ${azimuth}, inclination ${inclination}, roll ${roll}${far}`;
      }
      case 'press':
        if (words.length > 0) throw new BadLine('press takes nothing.');
        this.#needTrigger();
        this.#endWalk();
        await this.board.press();
        return 'trigger pressed';
      case 'plan': {
        if (words.length > 2) throw new BadLine('plan takes seconds, and the reading to begin at.');
        this.#needTrigger();
        const seconds = within('seconds', words[0] ?? '2', 0.5, 600);
        const from = within('the reading to begin at', words[1] ?? '1', 1, CUSTOMARY_AIMS.length);
        if (!Number.isInteger(from)) throw new BadLine('Readings are counted in whole numbers.');
        this.#endWalk();
        const aims = CUSTOMARY_AIMS.slice(from - 1);
        this.#walk(aims, seconds * 1000);
        return `going through the plan: ${aims.length} readings, one every ${seconds} seconds`;
      }
      case 'drop': {
        const bytes = number('drop', words[0] ?? '0');
        if (words.length > 1 || !Number.isSafeInteger(bytes) || bytes < 0)
          throw new BadLine('drop takes a whole number of bytes, or nothing.');
        if (!this.isAttached) return 'no link to drop';
        this.board.dropAfter(bytes);
        return bytes === 0 ? 'link dropped' : `link drops ${bytes} bytes from now`;
      }
      case 'restart':
        if (words.length > 0) throw new BadLine('restart takes nothing.');
        this.#endWalk();
        this.board.restart();
        return 'restarted';
      case 'ails': {
        const [what = '', ...more] = words;
        const ailment = Object.hasOwn(AILMENTS, what) ? AILMENTS[what] : undefined;
        if (!ailment || more.length > 0)
          throw new BadLine(`ails takes one of ${Object.keys(AILMENTS).join(', ')}.`);
        this.board.quirk(ailment);
        return `ails: ${what}`;
      }
      case 'set': {
        if (words.length === 0) throw new BadLine('set takes NAME=VALUE.');
        const wanted = changedSettings(await this.board.settings(), words.join(' '));
        await this.board.adjust(wanted);
        return `set: ${words.join(' ')}`;
      }
      default:
        throw new BadLine(`“${verb}” is not known here; type help.`);
    }
  }

  /** Takes the first reading now, and the others one after the other. */
  #walk([aim, ...others]: readonly Attitude[], ms: number): void {
    if (!aim) return;
    void this.board.hold(aim); // both are done when they return
    void this.board.press();
    this.#endWalk = this.#clock.after(ms, () => this.#walk(others, ms));
  }

  #needTrigger(): void {
    if (!(this.line.kind.build.hasTrigger ?? true)) throw new BadLine('This board has no trigger.');
  }

  /** Each byte drops the link with the same chance: how many get through is distributed geometrically. */
  #bytesUntilDrop(): number {
    const { drop } = this.line;
    return 1 + Math.floor(Math.log(1 - this.#drops.uniform()) / Math.log1p(-drop));
  }
}

/** @throws BadLine */
function within(name: string, text: string, least: number, most: number): number {
  const value = number(name, text);
  if (value >= least && value <= most) return value;
  throw new BadLine(`${name} is from ${least} to ${most}, not ${text}.`);
}
