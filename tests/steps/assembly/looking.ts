import type { BoardOptions } from '../../../firmware-sim/board.ts';
import type { Fields } from '../../../src/protocol/line.ts';
import { VERBS } from '../../../src/protocol/messages.ts';
import type { Attitude, SimulatorSettings } from '../../../src/protocol/simulator.ts';
import type { AssemblyPose, PoseLooks } from '../../../src/records/entries.ts';
import { POSES } from '../../../src/steps/assembly/assembly-history.ts';
import type { DeclaredChips } from '../../../src/steps/assembly/chip-looks.ts';
import { POSE } from '../../../src/steps/assembly/poses.ts';
import { wantsLook } from '../../../src/steps/assembly/turns.ts';
import { Terminal } from '../../firmware-sim/terminal.ts';

/** A simulated board that is looked at in the poses of the check, over its own lines, on a virtual clock. */
export class LookedAt {
  readonly terminal: Terminal;
  readonly declared: DeclaredChips;
  readonly looked = new Map<AssemblyPose, PoseLooks>();

  constructor(settings: Partial<SimulatorSettings> = {}, options: BoardOptions = {}) {
    this.terminal = new Terminal(settings, options, 400);
    this.declared = VERBS.hello.answer.read(this.terminal.hello());
  }

  /** Looks at it held so, in place of as the pose wants it. */
  look(pose: AssemblyPose, held: Attitude = POSE[pose]): PoseLooks {
    void this.terminal.board.hold(held);
    const looks: PoseLooks['looks'][number][] = [];
    let refused: PoseLooks['refused'];
    while (!refused && wantsLook(pose, looks, this.looked, this.declared)) {
      const { ok, fields } = this.terminal.ask('sense');
      if (ok) looks.push(VERBS.sense.answer.read(fields));
      else refused = { code: codeOf(fields), times: 1 };
    }
    const found = { pose, looks, ...(refused && { refused }) };
    this.looked.set(pose, found);
    return found;
  }

  /** All poses, each held as that says. */
  all(held: (pose: AssemblyPose) => Attitude = (pose) => POSE[pose]): this {
    for (const pose of POSES) this.look(pose, held(pose));
    return this;
  }
}

function codeOf(fields: Fields): 'saturated' | 'low_power' {
  const code = fields.code?.[0];
  if (code === 'saturated' || code === 'low_power') return code;
  throw new Error(`refused with ${code}`);
}
