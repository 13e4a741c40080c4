import { expect, test } from 'vitest';
import { EMPTY_HISTORY, type BoardHistory } from '../../src/steps/calibration-state.ts';
import { BoardCheck, leaveOffers, reportWords } from '../../src/steps/board-check.ts';
import type { Work } from '../../src/steps/place-state.ts';
import { CheckedBoard } from './conformance/checked-board.ts';
import { FaultyLink, type FaultName } from '../../firmware-sim/faulty.ts';

/** A check at a place that lends out the link of this board. */
async function checkAt(checked: CheckedBoard, fault?: FaultName) {
  const shown: Work[] = [];
  const link = fault ? new FaultyLink(checked.link, fault, checked.clock) : checked.link;
  const place = {
    lendLink: async (
      work: Work,
      task: (lent: typeof link, signal: AbortSignal, show: (work: Work) => void) => Promise<void>,
    ) => {
      shown.push(work);
      await task(link, new AbortController().signal, (now) => shown.push(now));
    },
  };
  const parts = { clock: checked.clock, random: checked.random };
  const check = new BoardCheck(place, parts, () => undefined);
  const { serial } = await checked.as(async (board) => board.identity);
  return { check, shown, serial };
}

test('the check shows how far it is, asks for the trigger, and keeps its report for this board alone', async () => {
  const checked = await new CheckedBoard().inUse();
  const { check, shown, serial } = await checkAt(checked);
  expect(check.reportOn(serial)).toBeUndefined();
  await checked.clock.run(check.run({ readings: true, press: true }));
  expect(shown.map(({ what }) => what)).toContain(
    'Press the trigger of the board once, within ten seconds',
  );
  const done = shown.flatMap((work) => work.done ?? []);
  expect(done).toEqual([...done].sort((a, b) => a - b));
  const words = reportWords(check.reportOn(serial)!);
  // nobody pressed it, so the board did not say that it was pressed
  expect(words.failed.map(({ name }) => name)).toEqual([
    'the trigger',
    'the trigger pressed in vain',
  ]);
  expect(check.reportOn('another')).toBeUndefined();
});

test('a report for the screen has each failed check with its rule, what was sent, what came and what was wanted', async () => {
  const checked = await new CheckedBoard().inUse();
  const { check, serial } = await checkAt(checked, 'checks any CRC');
  await checked.clock.run(check.run({}));
  const { sound, failed, left } = reportWords(check.reportOn(serial)!);
  expect(sound).toBe(false);
  expect(failed).toHaveLength(1);
  const { name, rule, findings } = failed[0]!;
  expect({ name, rule }).toEqual({
    name: 'check',
    rule: expect.stringMatching(/^SPEC\.md 4: check with the CRC/) as string,
  });
  expect(findings[0]?.lines).toEqual([
    expect.stringMatching(/^> \?4 check crc=/),
    expect.stringMatching(/^< =4 ok crc=/),
  ]);
  expect(findings[0]?.wanted).toBe('=4 error code=crc_mismatch');
  expect(left).toEqual(['The board is as it was found.']);
});

test('what makes no sense on a board, or would disturb a calibration under way, is not offered', () => {
  const identity = { capabilities: ['kept'] } as unknown as NonNullable<BoardHistory['identity']>;
  const memory = { first: 0, last: 0, count: 0, room: 9, dropped: 0 };
  const names = (history: Partial<BoardHistory>) =>
    leaveOffers({ ...EMPTY_HISTORY, identity, memory, ...history }).map(({ name }) => name);
  expect(names({})).toEqual(['readings', 'settings', 'firstSeal', 'restart']);
  expect(names({ memory: { ...memory, first: 1, last: 2, count: 2 } })).not.toContain('readings');
  const inForce = { generation: 1 } as NonNullable<BoardHistory['inForce']>;
  expect(names({ inForce })).toContain('seal');
  const calibration = {} as NonNullable<BoardHistory['calibration']>;
  expect(names({ inForce, calibration })).not.toContain('seal');
  const triggered = { capabilities: ['kept', 'trigger'] } as unknown as typeof identity;
  expect(names({ identity: triggered })).toContain('press');
});
