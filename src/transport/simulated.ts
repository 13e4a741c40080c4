import { LinkError, type ByteLink, type LinkListener } from '../protocol/link.ts';
import type {
  HeldAim,
  SimulatorControl,
  SimulatorSettings,
  TrueReading,
} from '../protocol/simulator.ts';
import type { ChannelEnd, FromWorker, SimulatorCall, ToWorker } from './simulator-channel.ts';

export { defaultSettings } from '../../firmware-sim/settings.ts';

/** A simulated board, as the page has it. */
export interface Simulated {
  link: ByteLink;
  control: SimulatorControl;
  /** Ends the worker and all it holds; the link ends with it. */
  end(): void;
}

export interface SimulatedOptions {
  /** The kept memory that the same board had before, as `onMemory` gave it; that of another board is not taken over. */
  saved?: Uint8Array;
  /**
   * Gets a copy of the kept memory after each change. What the board says afterwards is heard only once it is kept, if
   * a promise for that is given: no board answers before it has kept what the answer is about.
   */
  onMemory?: (image: Uint8Array) => void | Promise<void>;
  /** How long a capture takes, milliseconds; 300 unless told. */
  captureMs?: number;
}

/** Starts a simulated board in a worker of its own. What is wrong with the settings is told when the link is opened. */
export function simulatedBoard(
  settings: SimulatorSettings,
  options: SimulatedOptions = {},
): Simulated {
  const worker = new Worker(new URL('./simulated-worker.ts', import.meta.url), { type: 'module' });
  const remote = new RemoteBoard(worker, settings, options);
  worker.onerror = (event) => {
    remote.fail(`the simulated board stopped: ${event.message || 'its program did not load'}`);
  };
  return {
    link: remote,
    control: remote,
    end() {
      worker.terminate();
      remote.fail('the simulated board was ended');
    },
  };
}

/** A simulated board at the other end of a channel (see simulator-service.ts): its link and its controls. */
export class RemoteBoard implements ByteLink, SimulatorControl {
  readonly label = 'simulated board';
  readonly #started: Promise<unknown>;
  #waiting = new Map<number, { done: (value: unknown) => void; failed: (error: Error) => void }>();
  #lastCall = 0;
  #failure: string | undefined;
  #openings = 0;
  /** Settles when all images that came so far are kept; absent while nothing is waited for. */
  #keeping: Promise<void> | undefined;
  #open: { opening: number; listener: LinkListener } | undefined;

  constructor(
    private readonly channel: ChannelEnd,
    settings: SimulatorSettings,
    { saved, onMemory, captureMs }: SimulatedOptions = {},
  ) {
    channel.onmessage = ({ data }: MessageEvent<FromWorker>) => {
      if (data.kind === 'memory') this.#keep(onMemory?.(data.image));
      else if (this.#keeping) void this.#keeping.then(() => this.#hear(data));
      else this.#hear(data);
    };
    this.#started = this.#ask({
      method: 'start',
      settings,
      ...(saved && { saved }),
      ...(captureMs === undefined ? {} : { captureMs }),
    });
    // Whoever asks for anything is told of a start that failed; nobody need ask.
    this.#started.catch(() => {});
  }

  async open(listener: LinkListener): Promise<void> {
    if (this.#open)
      throw new LinkError('in_use', 'the link to the simulated board is open already');
    const open = (this.#open = { opening: ++this.#openings, listener });
    const unlessClosed = () => {
      if (this.#open !== open)
        throw new LinkError('closed', 'the link to the simulated board was closed meanwhile');
    };
    try {
      await this.#started;
      unlessClosed();
      await this.#ask({ method: 'open', opening: open.opening });
      unlessClosed();
    } catch (error) {
      if (this.#open === open) this.#open = undefined;
      throw error;
    }
  }

  async write(bytes: Uint8Array): Promise<void> {
    if (!this.#open) throw new LinkError('closed', 'the link to the simulated board is closed');
    await this.#ask({ method: 'write', opening: this.#open.opening, bytes });
  }

  async close(): Promise<void> {
    if (!this.#open) return;
    const { opening } = this.#open;
    this.#open = undefined;
    await this.#ask({ method: 'close', opening });
  }

  async hold(aim: HeldAim): Promise<void> {
    await this.#ask({ method: 'hold', aim });
  }

  async walk(metres: number): Promise<void> {
    await this.#ask({ method: 'walk', metres });
  }

  async press(): Promise<void> {
    await this.#ask({ method: 'press' });
  }

  async settings(): Promise<SimulatorSettings> {
    return (await this.#ask({ method: 'settings' })) as SimulatorSettings;
  }

  async adjust(change: Partial<SimulatorSettings>): Promise<void> {
    await this.#ask({ method: 'adjust', change });
  }

  async truth(count: number): Promise<readonly TrueReading[]> {
    return (await this.#ask({ method: 'truth', count })) as readonly TrueReading[];
  }

  /** The other end is no more: whatever waits on it, and whatever will be asked of it, fails with this reason. */
  fail(reason: string): void {
    this.#failure = reason;
    const waiting = [...this.#waiting.values()];
    this.#waiting.clear();
    for (const { failed } of waiting) failed(new Error(reason));
    this.#closed(reason);
  }

  #ask(call: SimulatorCall): Promise<unknown> {
    if (this.#failure !== undefined) return Promise.reject(new Error(this.#failure));
    const id = ++this.#lastCall;
    const message: ToWorker = { id, call };
    return new Promise((done, failed) => {
      this.#waiting.set(id, { done, failed });
      this.channel.postMessage(message);
    });
  }

  #keep(kept: void | Promise<void>): void {
    if (!kept) return;
    const keeping: Promise<void> = Promise.all([this.#keeping, kept]).then(() => {
      if (this.#keeping === keeping) this.#keeping = undefined;
    });
    this.#keeping = keeping;
  }

  #hear(message: Exclude<FromWorker, { kind: 'memory' }>): void {
    switch (message.kind) {
      case 'bytes':
        if (message.opening === this.#open?.opening) this.#open.listener.bytes(message.bytes);
        return;
      case 'closed':
        if (message.opening === this.#open?.opening) this.#closed(message.reason);
        return;
      case 'done':
        this.#take(message.id)?.done(message.value);
        return;
      case 'failed':
        this.#take(message.id)?.failed(new Error(message.reason));
        return;
    }
  }

  #take(id: number) {
    const waiting = this.#waiting.get(id);
    this.#waiting.delete(id);
    return waiting;
  }

  #closed(reason: string): void {
    const open = this.#open;
    this.#open = undefined;
    open?.listener.closed(new LinkError('gone', reason));
  }
}
