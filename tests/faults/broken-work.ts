import { expect } from 'vitest';
import { ordinaryBuild } from '../../firmware-sim/board.ts';
import { BoardMemory } from '../../firmware-sim/memory.ts';
import { NonVolatile } from '../../firmware-sim/non-volatile.ts';
import { randomStream } from '../../firmware-sim/random.ts';
import type { BoardReading } from '../../src/protocol/board.ts';
import type { Entry } from '../../src/records/entries.ts';
import { runFit, type FitOutcome } from '../../src/steps/fitting.ts';
import { nextStep, type Intention } from '../../src/steps/next-step.ts';
import { BenchInProcess } from '../steps/bench-in-process.ts';
import { BrokenLink, HARMS, type Break } from './broken-link.ts';

/**
 * Work at the bench over a link that breaks at a chosen byte, as a person would go on with it: what was asked for is
 * done, or the person is told and asks again. Afterwards logbook and board are compared.
 */

/** How often a person asks again before giving up; the link is healed after the second time. */
const PATIENCE = 6;

/** Something a person wants: what to ask for, and how to see that it is done. */
interface Wish {
  ask: Intention;
  isDone(on: BenchInProcess): boolean;
}

/** The beginning that every case shares: a whole calibration fitted, and nothing sealed yet. */
export async function fittedBench(): Promise<BenchInProcess> {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take rest', 'fit');
  expect(on.calibration.fit).toBeDefined();
  return on;
}

const SEAL_AND_SIGHTING: readonly Wish[] = [
  { ask: 'write', isDone: ({ calibration }) => calibration.sealed !== undefined },
  { ask: 'begin', isDone: ({ calibration }) => calibration.sealed === undefined },
  { ask: 'take sighting', isDone: ({ calibration }) => calibration.readings.length >= 4 },
];

/** Seals the fit and takes the first sighting of another calibration. Gives how many bytes crossed the link. */
export async function sealAndSighting(from: BenchInProcess, how?: Break): Promise<number> {
  const link = new BrokenLink();
  const on = await from.copy();
  on.around = link.around;
  await on.reload();
  const before = sets(on);
  expect(before.at(-1)).toBe('none');
  link.arm(how);
  await pursue(on, link, SEAL_AND_SIGHTING);
  await compare(on, { sealings: 1, readings: 56 + 4 });
  expect(link.harmed > 0).toBe(how !== undefined);
  return link.crossed;
}

const WHOLE: readonly Wish[] = [
  { ask: 'link', isDone: ({ state }) => state.link.state === 'linked' },
  { ask: 'begin', isDone: ({ state }) => state.history.calibration !== undefined },
  { ask: 'take rest', isDone: ({ calibration }) => calibration.readings.length >= 56 },
  { ask: 'fit', isDone: ({ calibration }) => calibration.fit?.stale === false },
  { ask: 'write', isDone: ({ calibration }) => calibration.sealed !== undefined },
  { ask: 'prove', isDone: ({ calibration }) => calibration.proof !== undefined },
  { ask: 'end', isDone: ({ calibration }) => calibration.ended !== undefined },
];

/** A fit is made once for the same readings: it is the same, and takes longer than all the rest. */
export function rememberingFitter(): BenchInProcess['fitter'] {
  const made = new Map<string, FitOutcome>();
  return async (request) => {
    const key = JSON.stringify(request);
    const outcome = made.get(key) ?? runFit(request);
    made.set(key, outcome);
    return outcome;
  };
}

/** A calibration from the first link to the end of the proof. Gives how many bytes crossed the link. */
export async function wholeCalibration(
  fitter: BenchInProcess['fitter'],
  how?: Break,
): Promise<number> {
  const link = new BrokenLink();
  const on = await BenchInProcess.opened();
  on.around = link.around;
  on.fitter = fitter;
  link.arm(how);
  await pursue(on, link, WHOLE);
  await compare(on, { sealings: 1, readings: 56 + 12 });
  expect(link.harmed > 0).toBe(how !== undefined);
  return link.crossed;
}

/** Every kind of break, once and lasting. */
export const KINDS: readonly Omit<Break, 'at'>[] = HARMS.flatMap((harm) => [
  { harm, lasts: false },
  { harm, lasts: true },
]);

export const nameOf = ({ harm, lasts }: Omit<Break, 'at'>): string =>
  lasts ? `${harm}, from there on` : `${harm}, once`;

/** Where in so many bytes the `n`-th case of some of this kind lies: anywhere, the same each time. */
export function somewhere(bytes: number, n: number, kind: Omit<Break, 'at'>): Break {
  return { ...kind, at: randomStream(n, nameOf(kind)).below(bytes) };
}

/** Which of these breaks the work did not survive, and how. */
export async function failuresAmong(
  breaks: readonly Break[],
  work: (how: Break) => Promise<unknown>,
): Promise<string[]> {
  const failures: string[] = [];
  for (const how of breaks) {
    try {
      await work(how);
    } catch (error) {
      failures.push(`${nameOf(how)}, at byte ${how.at}: ${String(error)}`);
    }
  }
  return failures;
}

async function pursue(
  on: BenchInProcess,
  link: BrokenLink,
  wishes: readonly Wish[],
): Promise<void> {
  let troubles = 0;
  for (const { ask, isDone } of wishes) {
    for (let time = 0; !isDone(on); time++) {
      expect(time, `${ask} asked in vain`).toBeLessThan(PATIENCE);
      const { main } = nextStep(on.state);
      const wanted = main?.does === 'link' ? 'link' : ask;
      const earlier = on.state.history.inForce;
      await on.ask(wanted);
      expect(on.state.work, 'work that never ends').toBeUndefined();
      const done = wanted === ask ? isDone(on) : on.state.link.state === 'linked';
      // Done, or told: nothing fails in silence, and nothing fails in a way that this program did not foresee.
      if (!done) {
        expect(on.state.trouble, `${wanted} failed in silence`).toBeDefined();
        troubles += 1;
      }
      expect(on.state.trouble?.heading ?? '').not.toContain('this program');
      const isChoice = on.state.link.state === 'none'; // of what to link, and how
      expect(nextStep(on.state).main !== undefined || isChoice, 'no way on').toBe(true);
      expect([...(earlier ? [earlier.crc] : ['none']), ...sets(on)]).toContain(sets(on)[0]);
      if (troubles === 2) link.heal();
    }
  }
}

/** CRC of the set in force on the board and of the one before it, `none` where there is none. */
function sets(on: BenchInProcess): string[] {
  const memory = memoryOf(on);
  return [memory.inForce()?.crc ?? 'none', memory.previous()?.crc ?? 'none'];
}

function memoryOf(on: BenchInProcess): BoardMemory {
  return new BoardMemory(new NonVolatile(on.board.memoryImage()), ordinaryBuild.places);
}

/** Every reading of the board is in the logbook, once and the same; each place has one; what is sealed is in force. */
async function compare(
  on: BenchInProcess,
  wanted: { sealings: number; readings: number },
): Promise<void> {
  const memory = memoryOf(on);
  const entries = await on.logbook();
  const recorded = entries.flatMap(readingsIn).sort((a, b) => a.reading - b.reading);
  const numbers = Array.from({ length: memory.lastGiven }, (_, at) => at + 1);
  expect(recorded.map(({ reading }) => reading)).toEqual(numbers);
  expect(recorded).toEqual(numbers.map((number) => memory.recall(number)));
  expect(memory.lastGiven, 'a reading taken twice').toBe(wanted.readings);

  const places = entries.flatMap((entry) =>
    (entry.kind === 'reading' || entry.kind === 'proof reading') && entry.aim
      ? [`${entry.calibration} ${entry.kind} ${entry.sighting} ${entry.aim.roll}`]
      : [],
  );
  expect(new Set(places).size).toBe(places.length);
  expect(places.length).toBe(wanted.readings);

  const sealed = entries.filter((entry) => entry.kind === 'sealed');
  expect(sealed).toHaveLength(wanted.sealings);
  const { generation, crc } = memory.inForce()!;
  expect(sealed.at(-1)).toMatchObject({ generation, crc });
  expect(generation).toBe(wanted.sealings);
  const staged = entries.findLast((entry) => entry.kind === 'staged')!;
  expect(memory.inForce()).toMatchObject({ ...staged.set, crc: staged.crc });
}

function readingsIn(entry: Entry): readonly BoardReading[] {
  if (entry.kind === 'memory saved') return entry.readings;
  if (entry.kind === 'reading' || entry.kind === 'proof reading') return [entry.reading];
  return [];
}
