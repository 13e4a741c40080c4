import { type ChildProcess, spawn, spawnSync } from 'node:child_process';
import type { LinkListener } from '../src/protocol/link.ts';
import type { Attachment, HostedBoard } from './hosted-board.ts';

/**
 * A board on a pseudo-terminal, through the program socat: whoever opens the path talks to the board as over a serial
 * port.
 */

/** Whether this machine has socat. */
export const hasSocat = (): boolean => spawnSync('socat', ['-V']).status === 0;

export class PseudoTerminal {
  #socat: ChildProcess | undefined;
  #attachment: Attachment | undefined;
  #over = false;

  private constructor(
    private readonly board: HostedBoard,
    private readonly path: string,
  ) {}

  /** Resolves when the path is there. Rejects when socat does not make it. */
  static async at(path: string, board: HostedBoard): Promise<PseudoTerminal> {
    const terminal = new PseudoTerminal(board, path);
    await terminal.#plugIn();
    return terminal;
  }

  /** Takes the path away; resolves when socat has ended. */
  async end(): Promise<void> {
    this.#over = true;
    await this.#unplug();
  }

  async #plugIn(): Promise<void> {
    // In a process group of its own, so that Ctrl-C reaches this program alone, which then ends it in order.
    const socat = spawn('socat', ['-d', '-d', `PTY,link=${this.path},rawer`, '-'], {
      stdio: ['pipe', 'pipe', 'pipe'],
      detached: true,
    });
    this.#socat = socat;
    socat.stdin.on('error', () => {}); // it has ended, which `exit` tells
    socat.stdout.on('data', (bytes: Buffer) => this.#fromHost(socat, bytes));
    await new Promise<void>((resolve, reject) => {
      let said = '';
      socat.stderr.on('data', (words: Buffer) => {
        said += words.toString();
        if (said.includes('starting data transfer loop')) resolve();
      });
      socat.once('error', reject);
      socat.once('exit', () => reject(new Error(`socat ended: ${said.trim()}`)));
    });
  }

  /** The first bytes open the board's link: a pseudo-terminal does not tell when it is opened. */
  #fromHost(socat: ChildProcess, bytes: Uint8Array): void {
    if (this.#over || this.#socat !== socat) return;
    if (!this.#attachment) {
      if (this.board.isAttached || !this.board.board.hasPower) return; // deaf, as a board that is linked elsewhere is
      const listener: LinkListener = {
        bytes: (chunk) => void socat.stdin!.write(chunk),
        closed: () => {
          this.#attachment = undefined;
          void this.replug();
        },
      };
      this.#attachment = this.board.attach(listener, () => (this.#attachment = undefined));
    }
    this.#attachment.send(bytes);
  }

  /** As when the board's plug is pulled and put back: whoever has the path open is told that it is gone. */
  async replug(): Promise<void> {
    await this.#unplug();
    if (!this.#over) await this.#plugIn();
  }

  async #unplug(): Promise<void> {
    this.#attachment?.detach();
    this.#attachment = undefined;
    const socat = this.#socat;
    this.#socat = undefined;
    if (!socat || socat.exitCode !== null || socat.signalCode !== null) return;
    const ended = new Promise((resolve) => socat.once('exit', resolve));
    socat.kill();
    await ended;
  }
}
