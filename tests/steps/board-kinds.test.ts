import { expect, it } from 'vitest';
import { KINDS } from '../../firmware-sim/kinds.ts';
import { careOf } from '../../src/steps/care/care-state.ts';
import { nextStep } from '../../src/steps/next-step.ts';
import { BenchInProcess } from './bench-in-process.ts';

it.each(KINDS)('leads a board of the kind $name from the link to the proof', async (kind) => {
  const on = await BenchInProcess.opened(kind.settings, kind.build);
  await on.ask('link');
  for (let i = 0; i < 20 && nextStep(on.state).place !== 'Done'; i++) {
    const { main, others } = nextStep(on.state);
    const rest = others.find(({ does }) => does === 'take rest');
    await on.ask((rest ?? main)!.does);
    expect(on.state.trouble).toBeUndefined();
    // chips that are poor enough may fail the judgement: then a person writes all the same, to see it through
    if (nextStep(on.state).heading === 'Not good enough yet') await on.ask('write');
    if (nextStep(on.state).heading === 'The proof did not pass') break;
  }
  expect(on.calibration.sealed).toMatchObject({ generation: 1 });
  expect(on.calibration.proof?.readings).toHaveLength(12);
  if (kind.name !== 'coarse') expect(nextStep(on.state).place).toBe('Done');
});

it('knows of each kind just what it can do, and asks it for nothing else', async () => {
  for (const { name, settings, build } of KINDS) {
    const on = await BenchInProcess.opened(settings, build);
    await on.ask('link');
    expect(on.state.trouble, name).toBeUndefined();
    const { light, clock, image, memory } = careOf(on.state);
    const {
      hasLight = true,
      hasClock = true,
      takesImages = true,
      hasSettings = true,
      hasRange = false,
    } = build;
    expect(light !== undefined, name).toBe(hasLight);
    expect(clock !== undefined, name).toBe(hasClock);
    expect(image !== undefined, name).toBe(takesImages);
    expect(memory, name).toMatchObject({ count: 0 });
    const labels = on.state.history.care.settings?.settings.map((each) => each.name) ?? [];
    expect(labels.length > 0, name).toBe(hasSettings);
    for (const setting of ['range_constant', 'range_scale']) {
      expect(labels.includes(setting), name).toBe(hasSettings && hasRange);
    }
  }
});
