import { expect, test } from 'vitest';
import { VirtualClock } from '../../firmware-sim/clock.ts';
import { randomStream } from '../../firmware-sim/random.ts';
import { defaultSettings } from '../../firmware-sim/settings.ts';
import { type BoardReading, linkBoard, readAllFrom } from '../../src/protocol/board.ts';
import { setCrc } from '../../src/protocol/messages.ts';
import { inProcessBoard } from '../../src/transport/in-process.ts';
import { plainSet } from './terminal.ts';

test('a bench and a board go through a whole calibration: link, read, seal, revert, recall, erase', async () => {
  const clock = new VirtualClock();
  const { link, control } = inProcessBoard(defaultSettings, clock);
  const readings: BoardReading[] = [];
  const fail = (error: Error): void => {
    throw error;
  };

  const work = async () => {
    const board = await linkBoard(link, {
      clock,
      random: randomStream(1, 'host').uniform,
      onReading: (reading) => readings.push(reading),
      onTrouble: fail,
      onLost: fail,
    });
    expect(board.identity).toMatchObject({ generation: 0, accMounting: '-x-y-z', chunk: 128 });

    await board.mode('collect');
    for (const roll of [0, 90, 180, 270]) {
      await control.hold({ azimuth: 45, inclination: -35, roll });
      expect(await board.capture()).toBe(readings.length);
    }
    await control.press();
    expect(await board.capture()).toBe(6); // asked again when the board is no longer busy with the trigger's
    await board.mode('idle');
    expect(readings.map(({ reading }) => reading)).toEqual([1, 2, 3, 4, 5, 6]);

    const recalled: BoardReading[] = [];
    for await (const reading of readAllFrom(board, 0)) recalled.push(reading);
    expect(recalled).toEqual(readings);

    const [one, two] = [plainSet({ 2: 0.01 }), plainSet({ 2: 0.02 })];
    expect(await board.seal(0, await board.stage(one))).toBe(1);
    expect(await board.seal(1, await board.stage(two))).toBe(2);
    expect(await board.revert(2)).toBe(3);
    expect(await board.coefficients('in_force')).toEqual({
      ...one,
      generation: 3,
      crc: setCrc(one),
    });
    expect(await board.coefficients('previous')).toEqual({
      ...two,
      generation: 2,
      crc: setCrc(two),
    });

    expect(await board.erase(6)).toBe(6);
    expect(await board.memory()).toMatchObject({ first: 0, last: 0, count: 0 });
    await board.mode('collect');
    expect(await board.capture()).toBe(7);
    expect(readings.at(-1)).toMatchObject({ reading: 7, generation: 3 });
    expect(readings.at(-1)?.azimuth).toBeTypeOf('number');
    await board.close();
  };
  await clock.run(work());
});
