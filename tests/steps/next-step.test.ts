import { describe, expect, it } from 'vitest';
import type { Intention, NextStep } from '../../src/steps/next-step.ts';
import { nextStep } from '../../src/steps/next-step.ts';
import { BrokenLink } from '../faults/broken-link.ts';
import { BenchInProcess } from './bench-in-process.ts';

const CALIBRATED: Intention[] = ['begin', 'take rest', 'fit', 'write'];

const pressing = ({ main, others }: NextStep) =>
  [...(main ? [main] : []), ...others].map(({ does }) => does);
const ways = (on: BenchInProcess) => nextStep(on.state).waysOut.map(({ does }) => does);
const all = (on: BenchInProcess) => [...pressing(nextStep(on.state)), ...ways(on)];

async function at(...intentions: Intention[]): Promise<BenchInProcess> {
  const on = await BenchInProcess.opened();
  await on.ask('link', ...intentions);
  return on;
}

describe('ways out', () => {
  it('are leaving and another board, at every place of an open calibration', async () => {
    const on = await at('begin');
    for (const intention of ['take sighting', 'take sighting', 'fit', 'take rest'] as const) {
      expect(ways(on), `before ${intention}`).toEqual(['leave', 'unlink']);
      await on.ask(intention);
    }
    for (const intention of ['fit', 'write', 'prove'] as const) {
      expect(ways(on), `before ${intention}`).toEqual(['leave', 'unlink']);
      await on.ask(intention);
    }
    expect(nextStep(on.state).heading).toBe('The proof passed');
    expect(ways(on)).toEqual(['leave', 'unlink']);
  });

  it('keep going back within reach whenever an earlier generation is on the board', async () => {
    const on = await at(...CALIBRATED, 'prove', 'end');
    expect(all(on)).not.toContain('revert'); // there is none yet
    for (const intention of [...CALIBRATED, 'prove', 'end'] as const) {
      await on.ask(intention);
      const there = on.state.history.previous !== undefined;
      expect(all(on).includes('revert'), `after ${intention}`).toBe(there);
    }
    await on.ask('begin');
    for (const intention of ['take rest', 'fit', 'write', 'prove', 'end'] as const) {
      expect(all(on), `before ${intention}`).toContain('revert');
      await on.ask(intention);
    }
  });

  it('offer nothing twice', async () => {
    const on = await at();
    for (const intention of [...CALIBRATED, ...CALIBRATED, 'prove', 'end'] as const) {
      await on.ask(intention);
      expect(new Set(all(on)).size, `after ${intention}`).toBe(all(on).length);
    }
  });

  it('lose nothing: what was left is in the logbook and can be taken up again', async () => {
    const on = await at('begin', 'take sighting', 'leave');
    expect(on.calibration.ended?.outcome).toBe('abandoned');
    expect(nextStep(on.state).main?.does).toBe('begin');
    await on.reload();
    expect(pressing(nextStep(on.state))).toContain('resume');
    await on.ask('resume', 'take rest', 'fit');
    expect(on.calibration.ended).toBeUndefined();
    expect(on.calibration.readings).toHaveLength(56);
    expect(on.calibration.fit).toBeDefined();
  });

  it('lead from a calibration begun again back to the one before, as it was left, after a reload too', async () => {
    const on = await at('begin', 'take sighting');
    expect(ways(on)).not.toContain('take up earlier');
    await on.run(on.place.mark({ does: 'set aside', reading: '2', reason: 'a van' }));
    const before = on.calibration;
    await on.ask('begin');
    expect(on.calibration.readings).toEqual([]);
    await on.ask('begin'); // empty ones are nothing to go back to
    await on.reload();
    const [back] = nextStep(on.state).waysOut;
    expect(back).toEqual({ label: 'Go back to the 4 readings before', does: 'take up earlier' });
    await on.ask('take up earlier');
    for (const when of ['at once', 'after a reload']) {
      expect(on.calibration, when).toEqual(before);
      expect(ways(on), when).not.toContain('take up earlier');
      await on.reload();
    }
    await on.ask('undo', 'take rest');
    expect(on.calibration.readings.filter(({ setAside }) => !setAside)).toHaveLength(56);
  });

  it('lead to and fro between two calibrations with readings, until one of them is sealed', async () => {
    const on = await at('begin', 'take sighting', 'begin', 'take one');
    const counts = () => [on.calibration.readings.length, on.calibration.ended?.outcome];
    await on.ask('take up earlier');
    expect(counts()).toEqual([4, undefined]);
    await on.ask('leave', 'take up earlier');
    expect(counts()).toEqual([1, undefined]);
    await on.ask('take rest', 'fit', 'write');
    expect(on.calibration.sealed).toBeDefined();
    for (const when of ['at once', 'after a reload']) {
      expect(all(on), when).not.toContain('take up earlier');
      await on.reload();
    }
  });

  it('lead back to what was proven where another was begun by mistake, and it is proven still', async () => {
    const on = await at(...CALIBRATED, 'prove', 'end', 'begin', 'take one');
    expect(nextStep(on.state).waysOut.map(({ label }) => label)).toContain(
      'Go back to the calibration that was proven',
    );
    await on.ask('take up earlier');
    expect(nextStep(on.state).heading).toBe('Done: calibrated and proven');
  });

  it('go to another board in the midst of a calibration, and back to find it open', async () => {
    const on = await at('begin', 'take one', 'unlink');
    expect(nextStep(on.state).heading).toBe('Link a board');
    await on.ask('link');
    expect(on.calibration.readings).toHaveLength(1);
    expect(nextStep(on.state).place).toBe('Take');
  });

  it('say after leaving what was sealed that nothing has proven it', async () => {
    const on = await at(...CALIBRATED, 'leave');
    expect(nextStep(on.state).words).toContain('no proof bears it out');
  });
});

describe('after the seal', () => {
  it('still proves, though readings are set aside or taken back', async () => {
    const on = await at(...CALIBRATED);
    await on.run(on.place.mark({ does: 'set aside', reading: '5', reason: 'It moved' }));
    expect(nextStep(on.state)).toMatchObject({ place: 'Prove', main: { does: 'prove' } });
    expect(nextStep(on.state).words).toContain('Readings have changed since the fit');
    expect(pressing(nextStep(on.state))).toContain('fit');
    await on.run(on.place.mark({ does: 'take back', readings: ['5'] }));
    expect(nextStep(on.state)).toMatchObject({ place: 'Prove', main: { does: 'prove' } });
    expect(nextStep(on.state).words).not.toContain('Readings have changed');

    await on.run(on.place.mark({ does: 'set aside', reading: '5', reason: 'It moved' }));
    await on.ask('prove', 'end');
    expect(on.calibration.proof?.passed).toBe(true);
    expect(nextStep(on.state).place).toBe('Done');
  });

  it('offers to write a newer fit, and proves that once it is written', async () => {
    const on = await at(...CALIBRATED);
    await on.run(on.place.mark({ does: 'set aside', reading: '5', reason: 'It moved' }));
    await on.ask('fit');
    expect(nextStep(on.state)).toMatchObject({ place: 'Judge', main: { does: 'write' } });
    await on.ask('write', 'prove');
    expect(on.calibration.proof).toMatchObject({ generation: 2, passed: true });
  });

  it('takes the proof again after a disturbed one, and does not forget that it failed', async () => {
    const on = await at(...CALIBRATED);
    await on.run(on.bench.adjustSimulator({ disturbance: 100 }));
    await on.ask('prove');
    expect(on.calibration.proof?.passed).toBe(false);
    const failed = on.calibration.proof!.readings;
    expect(nextStep(on.state)).toMatchObject({
      heading: 'The proof did not pass',
      main: { does: 'prove again' },
    });

    await on.run(on.bench.adjustSimulator({ disturbance: 0 }));
    await on.ask('prove again');
    const { proof, failedProofs } = on.calibration;
    expect(proof?.passed).toBe(true);
    expect(proof?.readings).toHaveLength(12);
    expect(proof!.readings.filter((id) => failed.includes(id))).toEqual([]);
    expect(failedProofs).toBe(1);
    const proofs = (await on.logbook()).filter(({ kind }) => kind === 'proof');
    expect(proofs).toMatchObject([{ passed: false }, { passed: true }]);
    const before = on.calibration;
    await on.reload();
    expect(on.calibration).toEqual(before);
  });

  it('keeps a proof that was drawn when taking it again is stopped before its first reading', async () => {
    const on = await at(...CALIBRATED);
    await on.run(on.bench.adjustSimulator({ disturbance: 100 }));
    await on.ask('prove');
    const again = on.place.perform('prove again');
    await on.pass(1);
    await on.place.perform('stop');
    await on.run(again);
    const proofs = (await on.logbook()).filter(({ kind }) => kind === 'proof');
    expect(proofs).toHaveLength(1);
    expect(nextStep(on.state).main?.does).toBe('prove again');
  });

  it('goes on with the second proof where the link dropped in the midst of it', async () => {
    const on = await at(...CALIBRATED);
    await on.run(on.bench.adjustSimulator({ disturbance: 100 }));
    await on.ask('prove');
    await on.run(on.bench.adjustSimulator({ disturbance: 0 }));
    on.board.dropAfter(1500);
    await on.ask('prove again');
    expect(on.state.link.state).toBe('lost');
    await on.ask('link');
    expect(nextStep(on.state).main).toMatchObject({ does: 'prove' });
    await on.ask('prove');
    expect(on.calibration.proof?.passed).toBe(true);
    expect(on.calibration.failedProofs).toBe(1);
  });

  it('lost before it has said which board it is, it is linked again, or put away', async () => {
    const on = await BenchInProcess.opened();
    const link = new BrokenLink();
    on.around = link.around;
    link.arm({ harm: 'drop', lasts: false, at: 388 });
    await on.ask('link');
    expect(on.state.link.state).toBe('lost');
    expect(on.state.history.identity).toBeUndefined();
    const { main, waysOut } = nextStep(on.state);
    expect(main?.does).toBe('link');
    expect(waysOut.map(({ does }) => does)).toEqual(['unlink']);
    await on.ask('link');
    expect(nextStep(on.state).main?.does).toBe('begin');
  });

  it('is not done any more once the board went back to other coefficients', async () => {
    const on = await at(...CALIBRATED, 'prove', 'end', ...CALIBRATED, 'prove', 'end');
    expect(nextStep(on.state).place).toBe('Done');
    await on.ask('revert');
    for (const when of ['at once', 'after a reload']) {
      expect(nextStep(on.state), when).toMatchObject({
        place: 'Look',
        heading: 'The board does not run what was proven',
      });
      expect(nextStep(on.state).words).toContain('It runs generation 3, not generation 2');
      await on.reload();
    }
    await on.ask('resume', 'write');
    expect(on.state.history.inForce?.crc).toBe(on.calibration.sealed?.crc);
    expect(nextStep(on.state)).toMatchObject({ place: 'Prove', main: { does: 'prove' } });
  });

  it('says so when going back twice has put the proven numbers in force again', async () => {
    const on = await at(...CALIBRATED, 'prove', 'end', ...CALIBRATED, 'prove', 'end');
    await on.ask('revert');
    expect(nextStep(on.state).waysOut).toContainEqual({
      label: 'Put generation 2 in force again',
      does: 'revert',
    });
    await on.ask('revert');
    expect(nextStep(on.state).words).toContain('with the very numbers of generation 2');
  });
});

it('names the readings that are left by how many were taken', async () => {
  const on = await at('begin');
  const rest = () => nextStep(on.state).others.find(({ does }) => does === 'take rest')?.label;
  expect(rest()).toBe('Take all 56');
  await on.ask('take one');
  expect(rest()).toBe('Take the other 55');
});

it('does not offer to go back on a board that no calibration here has touched', async () => {
  const on = await at('begin', 'take one');
  const previous = { model: 'straight', values: [], generation: 6, crc: '00000000' } as const;
  const strange = {
    ...on.state,
    history: { ...on.state.history, previous, inForce: { ...previous, generation: 7 } },
  };
  expect(nextStep(strange).waysOut.map(({ does }) => does)).toEqual(['leave', 'unlink']);
});
