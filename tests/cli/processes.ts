import { spawn, type ChildProcess } from 'node:child_process';

/** Real processes of this project, which a test talks to over their standard streams. */

const ROOT = new URL('../..', import.meta.url).pathname;

/** The longest that anything may take on a busy machine before a test gives up on it, milliseconds. */
const PATIENCE = 60_000;

export class Running {
  out = '';
  err = '';
  readonly ended: Promise<number | null>;
  readonly #process: ChildProcess;
  #listeners = new Set<() => void>();
  #isOver = false;

  /** @param program a file of the project, from its root */
  constructor(program: string, args: readonly string[], env = process.env) {
    this.#process = spawn(process.execPath, ['--import', 'tsx', program, ...args], {
      cwd: ROOT,
      env,
      stdio: 'pipe',
    });
    const tell = () => this.#listeners.forEach((listener) => listener());
    this.#process.stdout!.on('data', (words: Buffer) => {
      this.out += words.toString();
      tell();
    });
    this.#process.stderr!.on('data', (words: Buffer) => {
      this.err += words.toString();
      tell();
    });
    this.#process.stdin!.on('error', () => {}); // it ended by itself, which `ended` tells
    this.ended = new Promise((resolve) => {
      this.#process.once('close', (code) => {
        this.#isOver = true;
        resolve(code);
        tell();
      });
    });
  }

  type(line: string): void {
    this.#process.stdin!.write(`${line}\n`);
  }

  endInput(): void {
    this.#process.stdin!.end();
  }

  /** Presses Ctrl-C; resolves with the exit code. */
  async interrupt(): Promise<number | null> {
    this.#process.kill('SIGINT');
    return this.ended;
  }

  /** As power does. */
  async kill(): Promise<void> {
    this.#process.kill('SIGKILL');
    await this.ended;
  }

  /** Waits until its output, from `after` characters on, matches; gives the match. Fails when it ends before. */
  async says(pattern: RegExp, after = 0): Promise<RegExpExecArray> {
    return new Promise((resolve, reject) => {
      const look = () => {
        const found = pattern.exec(this.out.slice(after));
        if (found) finish(() => resolve(found));
        else if (this.#isOver) finish(() => reject(new Error(`It ended: ${this.out}${this.err}`)));
      };
      const finish = (settle: () => void) => {
        clearTimeout(timer);
        this.#listeners.delete(look);
        settle();
      };
      const timer = setTimeout(
        () => finish(() => reject(new Error(`It never said ${pattern}: ${this.out}\n${this.err}`))),
        PATIENCE,
      );
      this.#listeners.add(look);
      look();
    });
  }
}

/** Simulated boards as `npm run sim` starts them, and the hand that holds them. */
export class Simulator {
  private constructor(
    readonly process: Running,
    /** What to call each board on the command line. */
    readonly ports: readonly string[],
  ) {}

  static started(...args: string[]): Promise<Simulator> {
    return Simulator.startedIn(process.env, ...args);
  }

  static async startedIn(env: NodeJS.ProcessEnv, ...args: string[]): Promise<Simulator> {
    const running = new Running('sim/main.ts', args, env);
    await running.says(/Ctrl-C ends/);
    const ports = [...running.out.matchAll(/^board \d+: (\S+)/gm)].map(([, port]) => port!);
    return new Simulator(running, ports);
  }

  /** Ends it as a person does, so that it cleans up; gives the exit code. */
  end(): Promise<number | null> {
    return this.process.interrupt();
  }

  /** Types a line for a board; resolves with what the simulator says when it is done. */
  async hand(line: string): Promise<string> {
    const before = this.process.out.length;
    this.process.type(line);
    const [said] = await this.process.says(/^.+\n/m, before);
    return said.trim();
  }
}
