import { sealOutcome, type Board } from '../protocol/board.ts';
import type { ChosenSet, Entry, EntryOf } from '../records/entries.ts';
import { BenchError, messageOf } from './bench-words.ts';
import { idOf, writable } from './calibration-state.ts';
import type { Desk } from './desk.ts';
import { isRefusal } from './refusals.ts';
import { setsOn } from './saving.ts';
import type { Taking } from './taking.ts';

/** Changing what a board runs. Every step is in the logbook before the next is begun. */

/**
 * Begins a calibration with a set that is to be put on the board as it is; the one before is left. Nothing on the board
 * changes yet: {@link write} does that, as with a fit.
 *
 * @param serial number of the board that the set is for
 * @returns the id to write it by; nothing where the board runs just this set
 * @throws BenchError `other_board` where another board is linked
 */
export async function choose(
  desk: Desk,
  chosen: ChosenSet,
  serial: string,
): Promise<string | undefined> {
  const board = desk.linked();
  if (board.identity.serial !== serial) {
    const linked = board.identity.serial;
    throw new BenchError('other_board', `They are for board ${serial}, and ${linked} is linked.`);
  }
  await settleSeal(desk, board); // before another calibration is the newest
  await settleRevert(desk, board);
  // The logbook may have it from another bench, whose clock is ahead: only the board knows what it runs.
  const sets = await setsOn(board);
  const stamp = desk.stamp(serial);
  const { calibration, inForce } = desk.state.history;
  if (sets.inForce?.crc === chosen.crc) {
    if (inForce?.crc !== chosen.crc) {
      await desk.append({ ...stamp, kind: 'coefficients saved', ...sets });
    }
    desk.say('The board runs these coefficients already: nothing was written.');
    return undefined;
  }
  const end: Entry[] =
    calibration && !calibration.ended
      ? [
          {
            ...desk.inCalibration(),
            kind: 'calibration ended',
            outcome: 'abandoned',
            reason: 'Left to put other coefficients on the board',
          },
        ]
      : [];
  await desk.append(...end, {
    ...stamp,
    calibration: `${serial} ${stamp.time}`,
    kind: 'set chosen',
    ...chosen,
  });
  return writable(desk.calibration())?.id;
}

/**
 * Stages, checks, seals and reads back.
 *
 * @param id what to write: the set that was chosen, or a fit, which must be the newest, and of just the readings that
 *   count now
 * @throws BenchError `fit_changed` where it is not
 */
export async function write(desk: Desk, taking: Taking, id: string | undefined): Promise<void> {
  const board = desk.linked();
  const took = await settleSeal(desk, board);
  const { sealed } = desk.calibration();
  if (took && sealed && idOf(sealed) === id) {
    // Once more would be another generation with the same coefficients, and the ones before them would be gone.
    desk.say('It was sealed already: the board runs it.');
    await board.mode('collect');
    return;
  }
  await board.mode('idle'); // so that no reading lands while it is written
  await taking.recorded();
  const ready = writable(desk.calibration());
  if (!ready || ready.id !== id) {
    await board.mode('collect');
    throw new BenchError('fit_changed');
  }
  const { set, fit } = ready;
  const stamp = desk.inCalibration();
  const step = (done: number, what: string) => desk.show({ what, done, of: 4, stoppable: false });

  step(0, 'Saving what is in force');
  const before = await setsOn(board);
  await desk.append({ ...stamp, kind: 'coefficients saved', ...before });
  step(1, 'Staging and checking');
  const crc = await board.stage(set);
  await desk.append({ ...stamp, kind: 'staged', ...(fit !== undefined && { fit }), set, crc });
  step(2, 'Sealing');
  const replaces = before.inForce?.generation ?? 0;
  await desk.append({ ...stamp, kind: 'seal begun', replaces, crc });
  try {
    const generation = await board.seal(replaces, crc);
    await desk.append({
      ...stamp,
      kind: 'sealed',
      generation,
      crc,
      replaced: replaces,
      known: 'answer',
    });
  } catch (error) {
    if (isRefusal(error)) {
      const reason = messageOf(error);
      await desk.append({ ...stamp, kind: 'seal failed', generation: replaces, reason });
    }
    throw error;
  }
  step(3, 'Reading back');
  await desk.append({ ...stamp, kind: 'coefficients saved', ...(await setsOn(board)) });
  await board.mode('collect');
  desk.say('Sealed, and read back from the board.');
}

/** Puts the set before in force again; that it was begun is in the logbook before it is sent. */
export async function revert(desk: Desk): Promise<void> {
  const board = desk.linked();
  if (await settleRevert(desk, board)) return;
  const before = await setsOn(board);
  const replaces = before.inForce?.generation ?? 0;
  const crc = before.previous?.crc ?? '';
  const stamp = desk.inCalibration();
  await desk.append(
    { ...stamp, kind: 'coefficients saved', ...before },
    { ...stamp, kind: 'revert begun', replaces, crc },
  );
  try {
    const generation = await board.revert(replaces);
    await reverted(desk, board, { generation, crc, replaced: replaces, known: 'answer' });
  } catch (error) {
    if (isRefusal(error)) {
      const reason = messageOf(error);
      await desk.append({ ...stamp, kind: 'revert failed', generation: replaces, reason });
    }
    throw error;
  }
}

/** After a seal whose answer was lost: what the board runs tells whether it took; resolves with whether it did. */
export async function settleSeal(desk: Desk, board: Board): Promise<boolean> {
  const begun = desk.state.history.calibration?.sealBegun;
  if (!begun) return false;
  const { replaces: replaced, crc } = begun;
  const outcome = await sealOutcome(board, replaced, crc);
  const sets = await setsOn(board);
  const generation = sets.inForce?.generation ?? 0;
  const stamp = desk.inCalibration();
  const reason = `The board runs generation ${generation}, not the one that was to be sealed`;
  await desk.append(
    outcome === 'sealed'
      ? { ...stamp, kind: 'sealed', generation, crc, replaced, known: 'read back' }
      : { ...stamp, kind: 'seal failed', generation, reason },
    { ...stamp, kind: 'coefficients saved', ...sets },
  );
  return outcome === 'sealed';
}

/** The same after a revert whose answer was lost; resolves with whether it had happened. */
export async function settleRevert(desk: Desk, board: Board): Promise<boolean> {
  const begun = desk.state.history.calibration?.revertBegun;
  if (!begun) return false;
  const { replaces: replaced, crc } = begun;
  if ((await sealOutcome(board, replaced, crc)) === 'sealed') {
    const generation = replaced + 1;
    await reverted(desk, board, { generation, crc, replaced, known: 'read back' });
    return true;
  }
  const generation = (await board.coefficients('in_force'))?.generation ?? 0;
  const reason = `The board runs generation ${generation}, not the one before`;
  await desk.append({ ...desk.inCalibration(), kind: 'revert failed', generation, reason });
  return false;
}

async function reverted(
  desk: Desk,
  board: Board,
  outcome: Pick<EntryOf<'reverted'>, 'generation' | 'crc' | 'replaced' | 'known'>,
): Promise<void> {
  const sets = await setsOn(board);
  const stamp = desk.inCalibration();
  await desk.append(
    { ...stamp, kind: 'reverted', ...outcome },
    { ...stamp, kind: 'coefficients saved', ...sets },
  );
  if (!desk.calibration().ended) {
    await desk.end('abandoned', 'The coefficients before are in force again');
  }
  desk.say('The coefficients before are in force again.');
}
