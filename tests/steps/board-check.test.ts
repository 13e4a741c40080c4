import { describe, expect, test } from 'vitest';
import { LinkError, type ByteLink, type LinkListener } from '../../src/protocol/link.ts';
import { EMPTY_HISTORY, type BoardHistory } from '../../src/steps/calibration-state.ts';
import { BoardCheck, leaveOffers, reportWords } from '../../src/steps/board-check.ts';
import { putRight } from '../../src/steps/conformance/run.ts';
import type { Work } from '../../src/steps/place-state.ts';
import { defaultSettings } from '../../firmware-sim/settings.ts';
import { CheckedBoard } from './conformance/checked-board.ts';
import { plainSet } from '../firmware-sim/terminal.ts';
import { FaultyLink, type FaultName } from '../../firmware-sim/faulty.ts';

/** A check at a place that lends out the link of this board. */
async function checkAt(checked: CheckedBoard, fault?: FaultName, own?: ByteLink) {
  const shown: Work[] = [];
  const link = own ?? (fault ? new FaultyLink(checked.link, fault, checked.clock) : checked.link);
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

describe('after a check that was cut off', () => {
  /** Is heard when the set of the check is in force, as generation 3. */
  const OWN_IN_FORCE = / revert replaces=2 #\w+\n$/;
  const RENAMED = / rename to=[^\n]* #\w+\n\?1 hello [^\n]*\n$/;

  /** Cut off when it hears that line, and what a person may do then. */
  async function cutOffAt(line: RegExp) {
    const checked = await new CheckedBoard().inUse();
    const before = await checked.kept();
    let ear: LinkListener | undefined;
    let said = '';
    let isWhole = true;
    const link: ByteLink = {
      label: 'link that drops once',
      open: (listener) => checked.link.open((ear = listener)),
      close: () => checked.link.close(),
      write: async (bytes) => {
        await checked.link.write(bytes);
        said += new TextDecoder().decode(bytes);
        if (!isWhole || !line.test(said) || !said.endsWith('\n')) return;
        isWhole = false;
        await checked.link.close();
        ear!.closed(new LinkError('gone', 'it is gone'));
      },
    };
    const { check, serial } = await checkAt(checked, undefined, link);
    await checked.clock.run(check.run({ seal: true, settings: true }));
    const words = () => reportWords(check.reportOn(serial)!);
    return { checked, before, check, words, serial };
  }

  test.each([OWN_IN_FORCE, / revert replaces=3 #\w+\n$/, RENAMED])(
    'what was changed is put back once the board is linked again (%o)',
    async (line) => {
      const { checked, before, check, words } = await cutOffAt(line);
      expect(await checked.kept()).not.toEqual(before);
      expect(words()).toMatchObject({ asFound: false, canPutRight: true });
      await checked.clock.run(check.putRight());
      expect(await checked.kept()).toEqual(before);
      expect(words()).toMatchObject({ asFound: true, canPutRight: false, lines: [] });
    },
  );

  test('the next check puts back first, and does not take for found what the last one left', async () => {
    const { checked, before, check, words } = await cutOffAt(RENAMED);
    await checked.clock.run(check.run({}));
    expect(await checked.kept()).toEqual(before);
    expect(words()).toMatchObject({ sound: true, asFound: true, canPutRight: false });
  });

  test('coefficients that someone has sealed since stay in force, and so do readings taken since', async () => {
    const { checked, check, words } = await cutOffAt(OWN_IN_FORCE);
    await checked.as(async (board) => {
      await board.seal(3, await board.stage(plainSet({ 2: 0.05 })));
      await board.mode('collect');
      await board.capture();
    });
    const before = await checked.kept();
    await checked.clock.run(check.putRight());
    expect(await checked.kept()).toEqual(before);
    expect(words()).toMatchObject({ asFound: true, canPutRight: false });
    expect(words().left.join()).toMatch(
      /Generation 4 was sealed on it since.*Readings in its memory: 1\./,
    );
  });

  test('another board on the same link is left alone', async () => {
    const { check, serial } = await cutOffAt(OWN_IN_FORCE);
    const other = await new CheckedBoard({}, { ...defaultSettings, seed: 9 }).inUse();
    const before = await other.kept();
    const { link, clock } = other;
    const put = await clock.run(putRight(link, check.reportOn(serial)!, other));
    expect(put).toBeUndefined();
    expect(await other.kept()).toEqual(before); // over a link that was left closed
  });
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
