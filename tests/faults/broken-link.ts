import type { Clock } from '../../src/protocol/clock.ts';
import { LinkError, type ByteLink, type LinkListener } from '../../src/protocol/link.ts';

/** What can befall a byte, or the link at a byte. */
export const HARMS = ['drop', 'lose', 'flip', 'double', 'split', 'delay'] as const;
export type Harm = (typeof HARMS)[number];

/** One harm at one byte, counted from the arming over both directions in the order in which bytes set out. */
export interface Break {
  harm: Harm;
  at: number;
  /** Whether it comes again at every {@link PERIOD}th byte from there on, until it is healed. */
  lasts: boolean;
}

/** A prime, so that it falls in step with no message: no line longer than this comes through whole. */
export const PERIOD = 61;
/** How long a delayed byte waits: longer than the session waits for an answer. Milliseconds. */
const DELAY = 2000;
/** The same where the delay lasts: then every piece comes late, as over a bad radio. */
const LASTING_DELAY = 300;
/** How long the rest waits where bytes are split. */
const GAP = 40;
/** The most bytes the simulated board takes at once: doubling may make more of them. */
const MOST = 128;

/** The one way in which a link is broken, however often the link behind it is opened. */
export class BrokenLink {
  #break: Break | undefined;
  #crossed = 0;
  #harmed = 0;

  /** How many bytes have set out since the last arming, either way. */
  get crossed(): number {
    return this.#crossed;
  }

  /** How often harm was done since. */
  get harmed(): number {
    return this.#harmed;
  }

  /** Counts from here, and breaks the link as told; not at all if nothing is told. */
  arm(how?: Break): void {
    this.#break = how;
    this.#crossed = 0;
    this.#harmed = 0;
  }

  heal(): void {
    this.#break = undefined;
  }

  /** Puts itself around a link. */
  around = (link: ByteLink, clock: Clock): ByteLink => {
    /** Ends what belongs to one opening; absent while closed. */
    let abandon: (() => void) | undefined;
    let toBoard: Direction | undefined;
    const drop = (listener: LinkListener): void => {
      abandon?.();
      void link.close().then(() => listener.closed(new LinkError('gone', 'the link broke')));
    };
    return {
      label: link.label,
      open: async (listener) => {
        const dropped = (): void => drop(listener);
        const toHost = new Direction(this.#next, clock, (bytes) => listener.bytes(bytes), dropped);
        const out = new Direction(this.#next, clock, (bytes) => void link.write(bytes), dropped);
        abandon = () => {
          toHost.end();
          out.end();
          toBoard = undefined;
        };
        toBoard = out;
        await link.open({
          bytes: (bytes) => toHost.send(bytes),
          closed: (end) => {
            abandon?.();
            listener.closed(end);
          },
        });
      },
      write: async (bytes) => {
        if (!toBoard) throw new LinkError('closed', 'the link is closed');
        toBoard.send(bytes);
      },
      close: async () => {
        abandon?.();
        await link.close();
      },
    };
  };

  /** What befalls the next byte. */
  readonly #next = (): { harm: Harm; lasts: boolean; bit: number } | undefined => {
    const at = this.#crossed++;
    if (!this.#break) return undefined;
    const { harm, lasts, at: first } = this.#break;
    const hit = lasts ? at >= first && (at - first) % PERIOD === 0 : at === first;
    if (!hit) return undefined;
    this.#harmed += 1;
    return { harm, lasts, bit: first % 8 };
  };
}

/** Bytes one way: in order, never in the call that sends them, and lost when the link ends. */
class Direction {
  #free = 0;
  #over = false;

  constructor(
    private readonly next: () => { harm: Harm; lasts: boolean; bit: number } | undefined,
    private readonly clock: Clock,
    private readonly deliver: (bytes: Uint8Array) => void,
    private readonly drop: () => void,
  ) {}

  send(bytes: Uint8Array): void {
    let piece: number[] = [];
    const release = (wait: number): void => {
      for (let at = 0; at < piece.length; at += MOST) {
        const part = Uint8Array.from(piece.slice(at, at + MOST));
        this.#later(0, () => this.deliver(part));
      }
      piece = [];
      this.#free = Math.max(this.#free, this.clock.now() + wait);
    };
    for (const byte of bytes) {
      const hit = this.next();
      switch (hit?.harm) {
        case undefined:
          piece.push(byte);
          break;
        case 'drop':
          release(0);
          this.#later(0, this.drop);
          return;
        case 'lose':
          break;
        case 'flip':
          piece.push(byte ^ (1 << hit.bit));
          break;
        case 'double':
          piece.push(byte, byte);
          break;
        case 'split':
          release(GAP);
          piece.push(byte);
          break;
        case 'delay':
          release(hit.lasts ? LASTING_DELAY : DELAY);
          piece.push(byte);
          break;
      }
    }
    release(0);
  }

  end(): void {
    this.#over = true;
  }

  #later(wait: number, task: () => void): void {
    const due = Math.max(this.#free, this.clock.now() + wait);
    this.#free = due;
    this.clock.after(due - this.clock.now(), () => {
      if (!this.#over) task();
    });
  }
}
