import type { Board, BoardReading } from '../../protocol/board.ts';
import { sendImage } from '../../protocol/board-care.ts';
import { CARE_LIMITS, type ImageReport } from '../../protocol/care-messages.ts';
import type { Clock } from '../../protocol/clock.ts';
import { ProtocolError } from '../../protocol/errors.ts';
import type { UpdatePlan } from '../../records/entries.ts';
import { BenchError, messageOf } from '../bench-words.ts';
import { notHeldBy } from '../board-memory.ts';
import type { Desk } from '../desk.ts';
import { isRefusal } from '../refusals.ts';
import { fetchLacking, setsOn } from '../saving.ts';
import type { Taking } from '../taking.ts';
import { isStarted, openUpdate, type UpdateState } from './care-history.ts';
import { ailmentOf, healthWords } from './firmware-health.ts';
import { saveReadings } from './memory.ts';
import { restoreSet, restoreSettings } from './restoring.ts';
import { readOver } from './settings.ts';
import { andSo, sendingWords } from './update-words.ts';

/**
 * Other firmware on a board: saved, sent, started, looked at, confirmed, and what it changed put back. From the moment
 * that the board is told to start it, every link goes on from what the logbook says, until the board runs it confirmed
 * or runs the one before.
 */

export interface UpdateParts {
  desk: Desk;
  taking: Taking;
  clock: Clock;
  /** Ends the conversation with a board that starts again, and links as soon as it is there and `isThrough`. */
  linkThrough(ms: number, isThrough: () => boolean): Promise<void>;
}

/** How long a board may take to be there again beyond its trial, milliseconds. */
const GRACE_MS = 60_000;

/**
 * Puts other firmware in place.
 *
 * @param file the image; absent where it is in the spare slot already
 * @throws ProtocolError `cancelled` where a person paused the sending: what was sent stays on the board
 */
export async function changeFirmware(
  { desk, taking, clock, linkThrough }: UpdateParts,
  plan: UpdatePlan,
  file: Uint8Array | undefined,
): Promise<void> {
  const board = desk.linked();
  const stamp = () => desk.stamp(board.identity.serial);
  const begun = openUpdate(desk.state.history.care);
  if (begun?.crc !== plan.crc) {
    if (begun) {
      const reason = 'Other firmware was chosen in its place.';
      await desk.append({ ...stamp(), kind: 'update given up', reason });
    }
    await board.mode('idle', desk.signal); // so that no reading lands after they were saved
    await taking.recorded();
    await saveAll(desk, board);
    await desk.append({ ...stamp(), kind: 'update begun', ...plan });
  }
  if (file) await send(desk, board, clock, file, plan.to);
  await saveWhatChanged(desk, board); // since it was begun, perhaps days ago
  await desk.append({ ...stamp(), kind: 'update swap begun' });
  try {
    await board.ask('swap', { crc: plan.crc });
    await desk.append({ ...stamp(), kind: 'update swapped' });
  } catch (error) {
    if (isRefusal(error)) {
      const { from: running } = plan;
      await desk.append({ ...stamp(), kind: 'update undone', running, reason: messageOf(error) });
    }
    if (!(error instanceof ProtocolError) || isRefusal(error)) throw error;
    // whether it starts is seen when it is there again
  }
  desk.show({ what: `Waiting for the board to start version ${plan.to}`, stoppable: true });
  await linkThrough(1000 * plan.trialSeconds + GRACE_MS, () => !isUnderWay(desk));
}

const isUnderWay = ({ state }: Desk): boolean => {
  const update = openUpdate(state.history.care);
  return update !== undefined && isStarted(update);
};

const SAVING = 'Saving what is on the board';

/** Settings, coefficients and readings, each reading compared. */
async function saveAll(desk: Desk, board: Board): Promise<void> {
  await saveReadings(desk, board, SAVING);
  await saveWhatChanged(desk, board);
}

async function saveWhatChanged(desk: Desk, board: Board): Promise<void> {
  if (board.identity.capabilities.includes('settings')) await readOver(desk, board);
  await fetchLacking(desk, board, await board.memory(desk.signal), SAVING);
  const sets = await setsOn(board, desk.signal);
  const stamp = desk.stamp(board.identity.serial);
  await desk.append({ ...stamp, kind: 'coefficients saved', ...sets });
}

async function send(
  desk: Desk,
  board: Board,
  clock: Clock,
  file: Uint8Array,
  version: string,
): Promise<void> {
  const of = Math.ceil(file.length / CARE_LIMITS.put);
  const began = clock.now();
  const sending = sendImage(board, file, desk.signal);
  let first: number | undefined;
  for (;;) {
    const { value, done } = await sending.next();
    if (done) {
      if (value === version) return;
      const why = `is ${value}, and ${version} in the file`;
      throw new ProtocolError({ cause: 'nonsense', field: 'firmware', why });
    }
    first ??= value;
    const left = ((clock.now() - began) * (file.length - value)) / (value - first);
    desk.show({
      what: sendingWords(left),
      done: Math.min(Math.floor(value / CARE_LIMITS.put), of - 1),
      of,
      stoppable: true,
    });
  }
}

/**
 * Goes on with a change of firmware from where the board and the logbook are: finishes it, or says that it was undone.
 *
 * @throws BenchError `going_back` where the new firmware is not healthy; ProtocolError
 */
export async function settleUpdate(desk: Desk, board: Board, clock: Clock): Promise<void> {
  const update = openUpdate(desk.state.history.care);
  if (!update) return;
  const report = await reportOf(desk, board);
  if (!isStarted(update)) {
    settleSending(desk, update, report);
    return;
  }
  const stamp = () => desk.stamp(board.identity.serial);
  if (report.running !== update.to) {
    const reason = undoneWords(update, report);
    await desk.append({ ...stamp(), kind: 'update undone', running: report.running, reason });
    desk.say(reason);
    return;
  }
  if (report.trial) {
    desk.show({ what: `Looking whether version ${update.to} is healthy`, stoppable: true });
    const checks = await healthOf(desk, board, clock, update);
    await desk.append({ ...stamp(), kind: 'update confirm begun', checks });
    await board.ask('confirm', { firmware: update.to });
    await desk.append({ ...stamp(), kind: 'update confirmed', known: 'answer' });
  } else if (update.phase !== 'restoring') {
    await desk.append({ ...stamp(), kind: 'update confirmed', known: 'read back' });
  }
  desk.show({ what: 'Putting settings and coefficients back', stoppable: false });
  const otherwise = [
    ...(update.settings ? await restoreSettings(desk, board, update.settings) : []),
    ...(await restoreSet(desk, board, update.set)),
  ];
  await desk.append({ ...stamp(), kind: 'update finished', otherwise });
  desk.say(`The board runs version ${update.to}, confirmed. ${andSo(otherwise)}`);
}

async function reportOf(desk: Desk, board: Board): Promise<ImageReport> {
  try {
    return await board.ask('image', {}, desk.signal);
  } catch (error) {
    if (!isRefusal(error)) throw error;
    throw new BenchError('going_back', 'It does not say which firmware it runs.');
  }
}

/** An image that is on its way goes on when a person says so: the file is not here any more after a reload. */
function settleSending(desk: Desk, update: UpdateState, report: ImageReport): void {
  const isThere = report.crc === update.crc;
  const there = isThere
    ? `${report.written ?? 0} of its ${update.size} bytes are`
    : 'nothing of it is';
  desk.say(
    `Firmware ${update.to} was on its way; ${there} on the board, which runs ${report.running}. Go on with it, or give it up.`,
  );
}

function undoneWords({ to, phase }: UpdateState, { running }: ImageReport): string {
  const why =
    phase === 'swapping'
      ? `The board runs version ${running}: version ${to} was not started, or it was undone by the board.`
      : `Version ${to} was not confirmed, so the board went back to version ${running} by itself.`;
  return `${why} Settings, coefficients and readings are untouched.`;
}

/**
 * Looks whether new firmware on trial is healthy.
 *
 * @returns what was looked at, in words
 * @throws BenchError `going_back` where it is not; the board was told to start again, which ends the trial
 */
async function healthOf(
  desk: Desk,
  board: Board,
  clock: Clock,
  { to }: UpdateState,
): Promise<string[]> {
  const entries = await desk.entriesOf(board.identity.serial);
  const isAsSaved = (reading: BoardReading) => notHeldBy(entries, [reading]).length === 0;
  const trouble = await ailmentOf(board, to, isAsSaved, { clock, signal: desk.signal });
  if (trouble === undefined) return healthWords(to);
  try {
    await board.ask('restart', {});
  } catch (error) {
    // where it will not even start again, the end of the trial undoes it
    const isAnswer =
      error instanceof ProtocolError && ['nonsense', 'refused'].includes(error.cause);
    if (!isAnswer) throw error;
  }
  throw new BenchError('going_back', trouble);
}
