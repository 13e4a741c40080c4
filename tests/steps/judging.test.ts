import { describe, expect, it } from 'vitest';
import { judgementOf } from '../../src/steps/judgement.ts';
import { comparedOnBoard } from '../../src/steps/comparison-words.ts';
import { nextStep } from '../../src/steps/next-step.ts';
import { sealingWords } from '../../src/steps/sealing-words.ts';
import { BenchInProcess } from './bench-in-process.ts';

const judged = async (settings = {}) => {
  const on = await BenchInProcess.opened(settings);
  await on.ask('link', 'begin', 'take rest', 'fit');
  return on;
};

const finding = (on: BenchInProcess, name: string) =>
  judgementOf(on.state.history)!.findings.find((each) => each.name === name)!;

describe('the tolerance a person chooses', () => {
  it('is what the fit is judged against, at once and after a reload', async () => {
    const on = await judged();
    expect(judgementOf(on.state.history)!.verdict).toMatch(/^Good enough for BCRA grade 5/);
    await on.run(on.place.chooseTolerance({ degrees: 0.05 }));
    const strict = judgementOf(on.state.history)!;
    expect(strict.standing).toBe('bad');
    expect(nextStep(on.state).heading).toBe('Not good enough yet');
    expect(nextStep(on.state).words).toContain(strict.advice[0]!.then);
    expect(sealingWords(on.state.history).against).toContain('a tolerance of ±0.05°');
    await on.reload();
    expect(on.calibration.tolerance).toEqual({ degrees: 0.05 });
    expect(judgementOf(on.state.history)).toEqual(strict);
    await on.run(on.place.chooseTolerance({ degrees: 2.5, grade: '3' }));
    expect(judgementOf(on.state.history)!.verdict).toMatch(/^Good enough for BCRA grade 3/);
  });

  it('is what the proof is held against', async () => {
    const on = await judged({ aim: 0.45 });
    await on.run(on.place.chooseTolerance({ degrees: 2.5, grade: '3' }));
    await on.ask('write', 'prove');
    const spread = on.calibration.proof!.figures.find(({ name }) => name === 'mean spread')!;
    expect(spread.limit).toBe(1.25);
    expect(spread.value).toBeGreaterThan(0.5);
    expect(on.calibration.proof!.passed).toBe(true);
  });
});

it('takes a curved board for bowed by itself, and says why with both figures', async () => {
  const on = await judged({ curvature: 0.03 });
  expect(on.calibration.fit!.coefficients.model).toBe('bowed');
  expect(judgementOf(on.state.history)!.standing).toBe('good');
  expect(finding(on, 'Straight or bowed').words).toMatch(
    /clearly better; .*straight misses \d+(\.\d)? and bowed \d+(\.\d)?/,
  );
});

it('names the disturbed site, not the board, where steel is near', async () => {
  const on = await judged({ disturbance: 60 });
  const { advice, verdict } = judgementOf(on.state.history)!;
  expect(advice[0]!.cause).toMatch(/disturbed site/);
  expect(verdict).toMatch(/Likely cause: iron near the sensor, or a disturbed site/);
});

it('tells over which temperatures it holds, and knows nothing left over in an ordinary board', async () => {
  const on = await judged();
  expect(finding(on, 'Holds for').figure).toMatch(/^\d+\.\d to \d+\.\d °C; all attitudes$/);
  expect(finding(on, 'What noise does not explain')).toMatchObject({
    figure: 'nothing',
    standing: 'good',
  });
});

it('compares with what the board runs, and knows its own numbers again', async () => {
  const on = await judged();
  expect(comparedOnBoard(on.state.history)).toBeUndefined();
  await on.ask('write');
  expect(comparedOnBoard(on.state.history)!.lead).toBe(
    'These are the very numbers of generation 1, which the board runs.',
  );
  await on.ask('begin', 'take rest', 'fit');
  const { lead, rows } = comparedOnBoard(on.state.history)!;
  // the same board again: both are true to some 0.08° in azimuth
  const rms = Number(/azimuth × cos inclination by (\d+\.\d+)°/.exec(lead)![1]);
  expect(rms).toBeGreaterThan(0);
  expect(rms).toBeLessThan(0.4);
  expect(rows.map(({ name }) => name).join()).toMatch(
    /sight moved.*Accelerometer zero.*Magnetometer gain/,
  );
});
