import { describe, expect, it } from 'vitest';
import { gapSlots } from '../../src/steps/calibration-state.ts';
import { cubePlanInDegrees } from '../../src/steps/customary-plan.ts';
import { nextStep, type Intention, type NextStep } from '../../src/steps/next-step.ts';
import { openProofSlots, PROOF_SIGHTINGS } from '../../src/steps/proof.ts';
import { lineWords, rollWords } from '../../src/steps/attitude-words.ts';
import { inProcessBoard } from '../../src/transport/in-process.ts';
import { defaultSettings } from '../../firmware-sim/settings.ts';
import { BenchInProcess } from './bench-in-process.ts';

/** A board that a person holds: nothing turns it between one reading and the next but that person. */

type Board = ReturnType<typeof inProcessBoard>;

async function linked(): Promise<{ on: BenchInProcess; far: Board }> {
  const on = await BenchInProcess.opened();
  const far = inProcessBoard(defaultSettings, on.clock);
  on.kinds.socket = () => far.link;
  await on.run(on.bench.link('socket', { address: 'ws://localhost:1' }));
  return { on, far };
}

const offers = ({ main, others }: NextStep) => [...(main ? [main] : []), ...others];
const does = (on: BenchInProcess) => offers(nextStep(on.state)).map((offer) => offer.does);
const IN_ONE_GO: Intention[] = ['take sighting', 'take rest'];

const ATTITUDES = new Map(
  [...cubePlanInDegrees().sightings, ...PROOF_SIGHTINGS].flatMap(
    ({ azimuth, inclination, rolls }) =>
      rolls.map((roll) => [
        `Aim ${lineWords({ azimuth, inclination })}; hold it ${rollWords(roll)}`,
        { azimuth, inclination, roll },
      ]),
  ),
);

/** Holds the board as the heading says. */
async function hold({ on, far }: { on: BenchInProcess; far: Board }): Promise<void> {
  const { heading } = nextStep(on.state);
  const attitude = ATTITUDES.get(heading);
  if (!attitude) throw new Error(`no attitude in these words: ${heading}`);
  await on.run(far.board.hold(attitude));
}

describe('a board in a person’s hand', () => {
  it('is asked for one reading at a time, from the first to the proof, each with its aim in the heading', async () => {
    const both = await linked();
    const { on, far } = both;
    await on.ask('begin');
    for (let i = 0; i < 56; i++) {
      expect(does(on).filter((each) => IN_ONE_GO.includes(each))).toEqual([]);
      const { main, words, help } = nextStep(on.state);
      expect(main).toEqual({ label: 'Take this reading', does: 'take one' });
      expect(words).toContain('press the board’s trigger, or this button');
      expect(help).toBe('Hold');
      await hold(both);
      if (i % 2 === 0) await on.ask('take one');
      else {
        await on.run(far.board.press());
        await on.pass(1000);
      }
      expect(on.calibration.readings).toHaveLength(i + 1);
    }
    await on.run(on.place.mark({ does: 'set aside', reading: '2', reason: 'It moved' }));
    await on.run(on.place.mark({ does: 'set aside', reading: '3', reason: 'It moved' }));
    expect(nextStep(on.state).others).toMatchObject([
      { label: 'Retake north, level, rolled a quarter right', does: 'take gaps' },
    ]);
    await on.run(far.board.hold({ azimuth: 0, inclination: 0, roll: 90 }));
    await on.ask('take gaps');
    expect(on.calibration.readings).toHaveLength(57);
    expect(gapSlots(on.calibration)).toMatchObject([{ roll: 180 }]);
    await on.ask('fit', 'write');
    for (let left = 12; left > 0; left--) {
      expect(openProofSlots(on.calibration.proofReadings)).toHaveLength(left);
      expect(nextStep(on.state).main?.label).toBe('Take this fresh reading');
      await hold(both);
      await on.ask('prove');
    }
    expect(on.calibration.proof?.passed).toBe(true);
  });

  it('gives one reading and no more, whatever was asked', async () => {
    const both = await linked();
    const { on } = both;
    await on.ask('begin');
    await hold(both);
    await on.ask('take rest');
    expect(on.calibration.readings).toHaveLength(1);
    await on.ask('take sighting');
    expect(on.calibration.readings).toHaveLength(2);
  });
});
