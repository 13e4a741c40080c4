import { ProtocolError } from '../../protocol/errors.ts';
import type { SensedReading } from '../../protocol/messages.ts';
import type { SimulatorControl } from '../../protocol/simulator.ts';
import type { AssemblyPose, Entry, PoseLooks } from '../../records/entries.ts';
import { messageOf } from '../bench-words.ts';
import { turnedByPerson } from '../collecting/own-hand.ts';
import type { BenchPlace } from '../place.ts';
import type { Work } from '../place-state.ts';
import type { BenchSite } from '../site/bench-site.ts';
import { expectedField } from '../site/expected-field.ts';
import { POSES, type AssemblyCheck } from './assembly-history.ts';
import { judgeAssembly, type AssemblyJudgement } from './assembly-judgement.ts';
import type { DeclaredChips } from './chip-looks.ts';
import { POSE } from './poses.ts';
import { turnProblem, wantsLook, type Again, type TurnProblem } from './turns.ts';

/**
 * The check of a board's assembly as a person does it: begun, then one pose after the other, judged when all are in. Every pose
 * is in the logbook before the next is asked for, so a page that was closed goes on where it was. Nothing is written to the board.
 */

export type { PoseLooks } from '../../records/entries.ts';

export interface AssemblyAt {
  place: BenchPlace;
  /** Where the bench stands: whether the field points down or up there. */
  site: BenchSite;
  today(): Date;
}

/** How often a turn that was done wrongly is asked for before the check comes to an end without it. */
const MOST_TIMES = 2;
/** How many looks the board may refuse in one pose. */
const MOST_REFUSED = 3;
/** Dips less than this do not tell which way the field points where turns are done by hand, radians. */
const SURE_DIP = 0.35;

/** What is to be done next in a check; nothing where it is at its end. */
export interface NextPose {
  pose: AssemblyPose;
  /** Why it is asked for again. */
  again?: string;
}

export type LookOutcome =
  | { done: true }
  /** The pose does not count; a person may say that it does. */
  | { done: false; pose: AssemblyPose; problem: TurnProblem; looked: PoseLooks }
  /** Why nothing was written, unless it is shown at the place, it was stopped, or something else was being done there. */
  | { done: false; fault?: string };

/** Whether a simulated board is turned by its own hand. */
export const handOf = (place: BenchPlace): SimulatorControl | undefined =>
  turnedByPerson(place.state) ? undefined : place.tie?.simulated?.control;

/** What comes next, by what was looked at. */
export function nextPose(
  check: AssemblyCheck,
  declared: DeclaredChips,
  dipSign?: 1 | -1,
): NextPose | undefined {
  const { looked, times } = check;
  const rest = looked.get('at rest');
  if (rest && isAtAnEnd(rest, declared)) return undefined;
  const missing = POSES.find((pose) => !looked.has(pose));
  if (missing) return { pose: missing };
  const again = judgeAssembly(looked, declared, dipSign).again.find(
    ({ pose }: Again) => (times.get(pose) ?? 0) < MOST_TIMES,
  );
  return again && { pose: again.pose, again: again.why };
}

/** Poses that are to be looked at again, once all were: a turn is not held against them. */
function doubtedIn(
  { looked }: AssemblyCheck,
  declared: DeclaredChips,
  dipSign?: 1 | -1,
): readonly AssemblyPose[] {
  if (!POSES.every((pose) => looked.has(pose))) return [];
  return judgeAssembly(looked, declared, dipSign).again.map(({ pose }) => pose);
}

/** Where the sensors say nothing at rest, turns would not help. */
function isAtAnEnd(rest: PoseLooks, declared: DeclaredChips): boolean {
  const { findings } = judgeAssembly(new Map([['at rest', rest]]), declared);
  const mute = findings.filter(({ fault }) => fault === 'no answer');
  return rest.looks.length === 0 || mute.length === 2;
}

/** Begins a check of the board here; one that was under way is left. */
export async function beginAssembly({ place, today }: AssemblyAt): Promise<string | undefined> {
  const stamp = stampOf(place, today());
  const { now } = place.state.history.assembly;
  const left: Entry[] = now ? [{ ...stamp, kind: 'assembly check left', check: now.id }] : [];
  const id = `${stamp.board} assembly ${stamp.time}`;
  return written(place, ...left, { ...stamp, kind: 'assembly check begun', id });
}

/** Leaves the check that is under way. What was looked at stays in the logbook, and counts for nothing. */
export async function leaveAssembly({ place, today }: AssemblyAt): Promise<string | undefined> {
  const { now } = place.state.history.assembly;
  if (!now) return undefined;
  const stamp = stampOf(place, today());
  return written(place, { ...stamp, kind: 'assembly check left', check: now.id });
}

/**
 * Looks at the pose that is next; where the board's own hand turns it, at all that are left. Where none is left it says what
 * they come to.
 */
export async function lookAssembly(on: AssemblyAt): Promise<LookOutcome> {
  await on.site.read();
  for (;;) {
    const next = nextAt(on);
    if (!next) return conclude(on);
    const outcome = await lookAt(on, next.pose);
    if (!outcome.done || !handOf(on.place)) return outcome;
  }
}

/** What is next in the check that is under way at a place; nothing where none is, or all was looked at. */
export function nextAt(on: AssemblyAt): NextPose | undefined {
  const { assembly, identity } = on.place.state.history;
  return assembly.now && identity && nextPose(assembly.now, identity, dipSignOf(on));
}

/** A person says that it lay as was wanted: what was looked at counts. */
export async function insistOn(on: AssemblyAt, looked: PoseLooks): Promise<LookOutcome> {
  return keep(on, { ...looked, sure: true });
}

async function lookAt(on: AssemblyAt, pose: AssemblyPose): Promise<LookOutcome> {
  const { place } = on;
  const { assembly, identity } = place.state.history;
  if (!assembly.now || !identity) return { done: false };
  const doubted = doubtedIn(assembly.now, identity, dipSignOf(on));
  const before = new Map(
    [...assembly.now.looked].filter(([other]) => other !== pose && !doubted.includes(other)),
  );
  const hand = handOf(place);
  let taken: PoseLooks | undefined;
  await place.withBoard({ what: WHAT, stoppable: true }, async (board, signal, show) => {
    await hand?.hold(POSE[pose]);
    taken = await takeLooks(pose, {
      sense: () => board.sense(signal),
      isEnough: (looks) => !wantsLook(pose, looks, before, identity),
      show: (work) => show(work),
    });
  });
  if (!taken) return { done: false };
  if (hand) return keep(on, { ...taken, sure: true });
  const problem = turnProblem(taken, before, identity);
  return problem ? { done: false, pose, problem, looked: taken } : keep(on, taken);
}

const WHAT = 'Looking at the sensors';

async function takeLooks(
  pose: AssemblyPose,
  by: {
    sense(): Promise<SensedReading>;
    isEnough(looks: readonly SensedReading[]): boolean;
    show(work: Work): void;
  },
): Promise<PoseLooks> {
  const looks: SensedReading[] = [];
  let refused: PoseLooks['refused'];
  while (!by.isEnough(looks) && (refused?.times ?? 0) < MOST_REFUSED) {
    by.show({ what: `${WHAT}: ${POSE[pose].name}`, stoppable: true });
    try {
      looks.push(await by.sense());
    } catch (error) {
      const code = refusalOf(error);
      if (!code) throw error;
      refused = { code, times: (refused?.times ?? 0) + 1 };
    }
  }
  return { pose, looks, ...(refused && { refused }) };
}

/** What the sensors themselves, or the supply, had against a look. */
function refusalOf(error: unknown): 'saturated' | 'low_power' | undefined {
  if (!(error instanceof ProtocolError) || error.fault.cause !== 'refused') return undefined;
  const { code } = error.fault.refusal;
  return code === 'saturated' || code === 'low_power' ? code : undefined;
}

/** Writes what was looked at, and, where that was the last, what all of it comes to. */
async function keep(on: AssemblyAt, looked: PoseLooks): Promise<LookOutcome> {
  const { place, today } = on;
  const { now } = place.state.history.assembly;
  if (!now) return { done: false };
  const stamp = stampOf(place, today());
  const fault = await written(place, {
    ...stamp,
    kind: 'assembly looked at',
    check: now.id,
    ...looked,
  });
  if (fault !== undefined) return { done: false, fault };
  return nextAt(on) ? { done: true } : conclude(on);
}

/** Judges all that was looked at, and writes what it comes to. */
async function conclude(on: AssemblyAt): Promise<LookOutcome> {
  const { place, today } = on;
  const { assembly, identity } = place.state.history;
  const { now } = assembly;
  if (!now || !identity) return { done: true };
  const fault = await written(place, {
    ...stampOf(place, today()),
    kind: 'assembly checked',
    check: now.id,
    ...recordOf(judgeAssembly(now.looked, identity, dipSignOf(on))),
  });
  return fault === undefined ? { done: true } : { done: false, fault };
}

const recordOf = ({ verdict, findings, mounting, untold }: AssemblyJudgement) => ({
  verdict,
  findings,
  mounting,
  untold,
});

/** Which way the field points where the bench stands, where that place is known and the field is not nearly level. */
function dipSignOf({ site, today }: AssemblyAt): 1 | -1 | undefined {
  const dip = expectedField(site.kept, today())?.dip;
  if (dip === undefined || Math.abs(dip) < SURE_DIP) return undefined;
  return dip > 0 ? 1 : -1;
}

function stampOf(place: BenchPlace, now: Date) {
  const { serial, state } = place;
  if (serial === undefined) throw new Error('no board was linked here');
  const { calibration } = state.history;
  return {
    board: serial,
    time: now.toISOString(),
    ...(calibration && !calibration.ended && { calibration: calibration.id }),
  };
}

/** Writes entries; gives why they could not be. */
async function written(place: BenchPlace, ...entries: Entry[]): Promise<string | undefined> {
  try {
    await place.record(...entries);
    return undefined;
  } catch (error) {
    return messageOf(error);
  }
}
