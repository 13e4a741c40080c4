import { expect, it } from 'vitest';
import { openSlots } from '../../src/steps/calibration-state.ts';
import { nextStep } from '../../src/steps/next-step.ts';
import { judge } from '../../src/steps/judgement.ts';
import { sealingWords } from '../../src/steps/sealing-words.ts';
import { BenchInProcess } from './bench-in-process.ts';

const kinds = async (on: BenchInProcess) => (await on.logbook()).map(({ kind }) => kind);

it('leads from the link to the proof by its own next steps alone, and the truth bears it out', async () => {
  const on = await BenchInProcess.opened();
  expect(nextStep(on.state)).toMatchObject({ place: 'Link', heading: 'Link a board' });
  await on.ask('link');
  const asked: string[] = [];
  for (let i = 0; i < 20 && nextStep(on.state).place !== 'Done'; i++) {
    const { main, others } = nextStep(on.state);
    const rest = others.find(({ does }) => does === 'take rest');
    const { does } = rest ?? main!;
    asked.push(does);
    await on.ask(does);
    expect(on.state.trouble).toBeUndefined();
  }
  expect(asked).toEqual(['begin', 'take rest', 'fit', 'write', 'prove', 'end']);

  const { fit, proof, truth, sealed } = on.calibration;
  expect(fit?.readings).toHaveLength(56);
  expect(judge(fit!, on.state.history.identity!).standing).toBe('good');
  expect(sealed).toMatchObject({ generation: 1, replaced: 0, known: 'answer' });
  expect(proof?.passed).toBe(true);
  expect(proof?.readings).toHaveLength(12);
  expect(truth!.azimuth).toBeLessThan(0.2); // Cramér–Rao 0.08° for these settings, and chance
  expect(truth!.inclination).toBeLessThan(0.07); // 0.027°
  expect(truth!.n).toBe(400);
});

it('saves what is on the board before it changes anything', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take rest', 'fit', 'write');
  const all = await kinds(on);
  expect(all.slice(0, 3)).toEqual(['board linked', 'coefficients saved', 'memory saved']);
  expect(all.slice(-6)).toEqual([
    'fit',
    'coefficients saved',
    'staged',
    'seal begun',
    'sealed',
    'coefficients saved',
  ]);
});

it('stands where it stood after the page was closed in the midst of collecting', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take sighting', 'take one');
  const before = on.calibration;
  await on.reload();
  expect(on.state.link.state).toBe('linked');
  expect(on.calibration).toEqual(before);
  await on.ask('take one');
  expect(on.calibration.readings.map((row) => row.id)).toEqual(['1', '2', '3', '4', '5', '6']);
});

it('keeps the work when the link drops in the middle of it, and goes on after linking again', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take sighting');
  on.board.dropAfter(100);
  await on.ask('take rest');
  expect(on.state.trouble?.heading).toBe('The link was lost');
  await on.ask('link', 'take rest');
  expect(on.state.trouble).toBeUndefined();
  expect(on.calibration.readings).toHaveLength(56);
  expect(new Set(on.calibration.readings.map(({ reading }) => reading.reading)).size).toBe(56);
});

it('takes every reading once over a link that loses, doubles and flips bytes', async () => {
  const on = await BenchInProcess.opened({
    faults: { lose: 5e-4, double: 5e-4, flip: 5e-4, delayMs: 20 },
  });
  await on.ask('link', 'begin');
  for (let i = 0; i < 10 && openSlots(on.calibration).length > 0; i++) {
    await on.ask(on.state.link.state === 'linked' ? 'take rest' : 'link');
  }
  const places = on.calibration.readings.map((row) => `${row.sighting} ${row.aim?.roll}`);
  expect(places).toHaveLength(56);
  expect(new Set(places).size).toBe(56);
});

it('sets aside and takes back with the reason, undoes both, and asks for a new fit', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take rest', 'fit');
  await on.run(
    on.place.mark({ does: 'set aside', reading: '7', reason: 'It moved while it was taken' }),
  );
  expect(on.calibration.readings[6].setAside).toEqual({
    reason: 'It moved while it was taken',
    by: 'person',
  });
  expect(on.calibration.fit?.stale).toBe(true);
  expect(nextStep(on.state)).toMatchObject({ heading: 'Fit again', main: { does: 'fit' } });
  await on.run(on.place.mark({ does: 'take back', readings: ['7'] }));
  expect(on.calibration.readings[6].setAside).toBeUndefined();
  await on.ask('undo');
  expect(on.calibration.readings[6].setAside?.reason).toBe('It moved while it was taken');
  await on.ask('undo');
  expect(on.calibration.readings[6].setAside).toBeUndefined();
  expect(on.calibration.marks.done).toEqual([]);
});

it('refuses to fit too few readings in words, and says what to take next', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take sighting', 'take sighting', 'fit');
  expect(on.calibration.refusal?.message).toBe(
    '8 readings are not enough: the answer has 24 unknowns, and at least 12 readings in different attitudes are needed.',
  );
  const next = nextStep(on.state);
  expect(next.words).toBe(on.calibration.refusal?.next);
  expect(next.main?.does).toBe('take rest');
});

it('does not let a disturbed site pass on its spread alone', async () => {
  const on = await BenchInProcess.opened({ disturbance: 60 });
  await on.ask('link', 'begin', 'take rest', 'fit');
  const { standing, findings } = judge(on.calibration.fit!, on.state.history.identity!);
  const of = (name: string) => findings.find((finding) => finding.name === name)?.standing;
  expect(of('Mean spread')).toBe('good');
  expect(of('Length of the field')).toBe('bad');
  expect(standing).toBe('bad');
  expect(nextStep(on.state).main?.does).not.toBe('write');
  // whoever writes it all the same is told first
  expect(sealingWords(on.state.history).against).toMatch(/do not survey with it/);
});

it('says nothing against writing a fit that is good enough', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take rest', 'fit');
  expect(sealingWords(on.state.history).against).toBeUndefined();
});

it('knows after a reload that a seal took although its answer was lost', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take rest', 'fit');
  on.onMemory = () => on.board.dropAfter(0);
  await on.ask('write');
  expect(on.calibration.sealed).toBeUndefined();
  expect(on.calibration.sealBegun).toBeDefined();
  await on.reload();
  expect(on.calibration.sealed).toMatchObject({ generation: 1, known: 'read back' });
  expect(nextStep(on.state).place).toBe('Prove');
});

it('goes back to the coefficients before, and says so', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take rest', 'fit', 'write', 'prove', 'end');
  const first = on.state.history.inForce!;
  await on.ask('begin', 'take rest', 'fit', 'write', 'revert');
  expect(on.state.history.inForce).toMatchObject({ generation: 3, crc: first.crc });
  expect(on.calibration.reverted).toMatchObject({ generation: 3, replaced: 2 });
  expect(on.calibration.ended?.outcome).toBe('abandoned');
});

it('makes room on a board whose memory is full, with nothing erased that the logbook lacks', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link');
  for (let i = 0; i < 5; i++) await on.ask('begin', 'take rest');
  expect(on.state.trouble).toBeUndefined();
  expect(openSlots(on.calibration)).toEqual([]);
  expect(await kinds(on)).toContain('erased');
});

it('has a message and a way on for a board that never answers', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take one');
  on.board.quirk({ manners: { silent: true, lateMs: 0, twice: false } });
  await on.ask('take one');
  expect(on.state.trouble?.heading).toBe('The board does not answer');
  on.board.quirk({ manners: { silent: false, lateMs: 0, twice: false } });
  await on.ask('link', 'take one');
  expect(on.state.trouble).toBeUndefined();
  expect(on.calibration.readings).toHaveLength(2);
});

it('shows the work and a way on when the page opens to a board that does not answer, and can be stopped', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take sighting');
  await on.run(on.bench.adjustSimulator({ faults: { lose: 1, double: 0, flip: 0, delayMs: 0 } }));
  await on.reload();
  expect(on.state.trouble?.heading).toBe('The board does not answer');
  expect(on.calibration.readings).toHaveLength(4);
  expect(nextStep(on.state).main).toEqual({ label: 'Link again', does: 'link' });

  const linking = on.place.perform('link');
  await on.pass(500);
  expect(on.state.work?.stoppable).toBe(true);
  await on.place.perform('stop');
  await on.pass(1);
  expect(on.state.work).toBeUndefined();
  expect(on.state.trouble).toBeUndefined();
  await on.run(linking);

  await on.run(on.bench.adjustSimulator({ faults: { lose: 0, double: 0, flip: 0, delayMs: 0 } }));
  await on.ask('link', 'take one');
  expect(on.calibration.readings).toHaveLength(5);
});
