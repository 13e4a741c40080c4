import { describe, expect, it } from 'vitest';
import { angleBetween, direction, radians } from '../../src/calib/geometry.ts';
import { openSlots } from '../../src/steps/calibration-state.ts';
import { cubePlanInDegrees } from '../../src/steps/customary-plan.ts';
import { extended, takenPart } from '../../src/steps/extended-plan.ts';
import { moreReadings } from '../../src/steps/more-readings.ts';
import { nextStep } from '../../src/steps/next-step.ts';
import { BenchInProcess } from './bench-in-process.ts';

/** A board so noisy that the customary plan is not enough for the tolerance asked, though more readings would be. */
async function short(): Promise<BenchInProcess> {
  const on = await BenchInProcess.opened({ magNoise: 0.004, accNoise: 0.002 });
  await on.ask('link', 'begin', 'take rest', 'fit');
  const half = (on.calibration.fit!.uncertainty.azimuth * 180) / Math.PI;
  await on.run(on.place.chooseTolerance({ degrees: Math.round(half * 160) / 100 }));
  return on;
}

describe('where more readings would help', () => {
  it('takes more of them for the main thing, and says what beginning again would do with those there are', async () => {
    const on = await short();
    const { heading, main, others } = nextStep(on.state);
    expect(heading).toBe('Not good enough yet');
    expect(main).toMatchObject({ label: 'Plan more readings', does: 'take more' });
    expect(others.at(-1)).toMatchObject({
      does: 'begin',
      note: 'Begin again: the 56 readings stay in the logbook; a new calibration begins empty.',
    });
  });

  it('lets the plan go on in attitudes that it does not have, and the figures get better by them', async () => {
    const on = await short();
    const before = on.calibration.fit!.uncertainty;
    await on.ask('take more');
    const slots = openSlots(on.calibration);
    expect(slots).toHaveLength(28);
    expect(on.state.said).toBe('28 readings are added to the plan.');
    const known = cubePlanInDegrees().sightings;
    for (const { sighting, roll } of slots) {
      const along = direction(radians(sighting.azimuth), radians(sighting.inclination));
      const same = known.filter(
        (each) =>
          angleBetween(along, direction(radians(each.azimuth), radians(each.inclination))) < 0.1,
      );
      expect(same.flatMap((each) => each.rolls)).not.toContain(roll);
      expect(same.every((each) => each.sighting === sighting.sighting)).toBe(true);
    }
    await on.reload();
    expect(openSlots(on.calibration)).toEqual(slots);
    await on.ask('take rest', 'fit');
    expect(on.calibration.readings).toHaveLength(84);
    const after = on.calibration.fit!.uncertainty;
    expect(after.azimuth).toBeLessThan(before.azimuth * 0.9);
  });
});

it('gives no new sighting a name that the customary plan or a reading has, though it was cut from the plan', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take rest', 'fit');
  const { fit, readings, plan } = on.calibration;
  const [one, ...others] = readings.map((row) =>
    row.sighting === '2' ? { ...row, sighting: '15' } : row,
  );
  const left = { ...plan, sightings: plan.sightings.slice(0, 1) };
  const cut = { fit: fit!, readings: [one!, ...others], plan: takenPart(left, readings) };
  const fresh = moreReadings(cut, 12).filter(({ sighting }) => sighting !== '1');
  expect(fresh.length).toBeGreaterThan(1);
  const customary = cubePlanInDegrees().sightings.map(({ sighting }) => sighting);
  const borne = new Set([...customary, '15']);
  expect(fresh.filter(({ sighting }) => borne.has(sighting))).toEqual([]);
});

it('adds rolls to a sighting of the plan that bears the name, and new sightings behind', () => {
  const plan = cubePlanInDegrees();
  const [first] = plan.sightings;
  const now = extended(plan, [
    { ...first!, rolls: [45, 90] },
    { sighting: '15', azimuth: 10, inclination: 20, rolls: [0] },
  ]);
  expect(now.sightings[0]!.rolls).toEqual([0, 90, 180, 270, 45]);
  expect(now.sightings.map(({ sighting }) => sighting)).toEqual([
    ...plan.sightings.map(({ sighting }) => sighting),
    '15',
  ]);
  expect(plan.sightings).toHaveLength(14);
});

describe('after a fit that was refused', () => {
  it('offers other readings, and the same fit only once the readings have changed', async () => {
    const on = await BenchInProcess.opened();
    on.fitter = async () => ({
      ok: false,
      cause: 'undetermined',
      message: 'They do not determine it.',
      next: 'Take readings at other rolls.',
    });
    await on.ask('link', 'begin', 'take rest', 'fit');
    const offers = () => {
      const { main, others } = nextStep(on.state);
      return [main!, ...others].map(({ does }) => does);
    };
    expect(offers()).toEqual(['begin']);
    expect(nextStep(on.state).main?.note).toContain('the 56 readings stay in the logbook');
    await on.run(on.place.mark({ does: 'set aside', reading: '4', reason: 'It moved' }));
    expect(offers()).toEqual(['fit', 'take gaps']);
    await on.ask('fit');
    expect(offers()).toEqual(['take gaps', 'begin']);
  });
});
