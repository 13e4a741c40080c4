import { expect, it } from 'vitest';
import { writable } from '../../src/steps/calibration-state.ts';
import { nextStep } from '../../src/steps/next-step.ts';
import { ownAnglesWords, sealingWords } from '../../src/steps/sealing-words.ts';
import { BenchInProcess } from './bench-in-process.ts';

/** What is written to the board, and what is gone back to, is known whatever becomes of the link. */

const kinds = async (on: BenchInProcess) => (await on.logbook()).map(({ kind }) => kind);

it('does not write a fit when a reading has come since, and says why', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take rest', 'fit');
  await on.run(on.board.press()); // with the question whether to write still open
  await on.pass(2000);
  expect(on.calibration.fit?.stale).toBe(true);
  await on.ask('write');
  expect(on.state.trouble?.heading).toBe('Not written: the readings have changed');
  expect(await kinds(on)).not.toContain('staged');
  await on.ask('fit', 'write');
  expect(on.calibration.sealed?.generation).toBe(1);
});

it('writes only the fit that it was asked to write', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take rest', 'fit');
  const shown = writable(on.calibration)!.id;
  await on.run(
    on.place.mark({ does: 'set aside', reading: '7', reason: 'It moved while it was taken' }),
  );
  await on.ask('fit');
  await on.run(on.place.write(shown));
  expect(on.state.trouble?.heading).toBe('Not written: the readings have changed');
  expect(await kinds(on)).not.toContain('staged');
  await on.run(on.place.write(writable(on.calibration)!.id));
  expect(on.calibration.sealed?.fit).toBe(on.calibration.fit!.id);
});

it('takes no reading while it writes, so that what is sealed is what the readings say', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take rest', 'fit');
  on.onAppended = async ([entry]) => {
    if (entry.kind === 'staged') await on.board.press();
  };
  await on.ask('write');
  await on.pass(2000);
  expect(on.calibration.readings).toHaveLength(56);
  expect(on.calibration.sealed?.fit).toBe(on.calibration.fit?.id);
  expect(on.calibration.fit?.stale).toBe(false);
});

it('knows after linking again that it went back although the answer was lost, and does not offer it again', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take rest', 'fit', 'write', 'prove', 'end');
  const first = on.state.history.inForce!;
  await on.ask('begin', 'take rest', 'fit', 'write');
  on.onMemory = () => on.board.dropAfter(0);
  await on.ask('revert');
  on.onMemory = () => {};
  expect(on.state.link.state).toBe('lost');
  expect(on.calibration.reverted).toBeUndefined();
  expect(on.calibration.revertBegun).toEqual({ replaces: 2, crc: first.crc });
  await on.ask('link');
  expect(on.calibration.reverted).toMatchObject({ generation: 3, replaced: 2, known: 'read back' });
  expect(on.calibration.ended?.outcome).toBe('abandoned');
  expect(on.state.history.inForce).toMatchObject({ generation: 3, crc: first.crc });
  const { main, others } = nextStep(on.state);
  expect([main, ...others].map((offer) => offer?.does)).not.toContain('revert');
});

it('knows after linking again that it did not go back when the link was lost before the board heard', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take rest', 'fit', 'write', 'prove', 'end');
  await on.ask('begin', 'take rest', 'fit', 'write');
  const second = on.state.history.inForce!;
  on.onAppended = async (entries) => {
    if (entries.some((entry) => entry.kind === 'revert begun')) on.board.dropAfter(0);
  };
  await on.ask('revert', 'link');
  expect(on.calibration.revertBegun).toBeUndefined();
  expect(on.calibration.reverted).toBeUndefined();
  expect(await kinds(on)).toContain('revert failed');
  expect(on.state.history.inForce).toEqual(second);
  expect(nextStep(on.state).place).toBe('Prove');
  on.onAppended = async () => {};
  await on.ask('revert');
  expect(on.calibration.reverted).toMatchObject({ generation: 3, known: 'answer' });
});

it('says before a second write what it changes in physical terms, against what the board runs', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take rest', 'fit');
  expect(sealingWords(on.state.history).comparison).toBeUndefined();
  await on.ask('write', 'prove', 'end', 'begin', 'take rest', 'fit');
  const { comparison } = sealingWords(on.state.history);
  expect(comparison?.lead).toContain('Against generation 1, which the board runs');
  expect(comparison?.rows.map(({ name }) => name)).toContain(
    'Magnetometer zero, along the sight, right, down',
  );
});

it('holds the board’s own angles against ours once it has sent some, and says so where they differ', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take rest', 'fit', 'write');
  expect(ownAnglesWords(on.state.history)).toBeUndefined();
  await on.ask('prove');
  expect(ownAnglesWords(on.state.history)).toMatchObject({ agrees: true });
  expect(ownAnglesWords(on.state.history)!.words).toMatch(/^Over 12 readings they differ by 0\.00/);
  const { calibration } = on.state.history;
  const [first, ...rest] = calibration!.proofReadings;
  const inclination = first!.reading.inclination! + 0.02;
  const turned = { ...first!, reading: { ...first!.reading, inclination } };
  const history = {
    ...on.state.history,
    calibration: { ...calibration!, proofReadings: [turned, ...rest] },
  };
  expect(ownAnglesWords(history)).toMatchObject({ agrees: false });
});
