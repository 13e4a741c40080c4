import { expect, test } from 'vitest';
import { Hand } from '../../firmware-sim/hand.ts';
import { randomStream } from '../../firmware-sim/random.ts';
import { attitudeRotation, DOWN, inBody, sightOf } from '../../firmware-sim/world.ts';

const hand = () =>
  new Hand({
    aim: randomStream(1, 'aim'),
    roll: randomStream(1, 'roll'),
    tremor: randomStream(1, 'tremor'),
  });
const DEGREE = Math.PI / 180;
const sdOf = (values: number[]) =>
  Math.sqrt(values.reduce((sum, value) => sum + value * value, 0) / values.length);

test('a hand without error brings the instrument exactly to the aim, straight up too', () => {
  const steady = hand();
  for (const aim of [
    { azimuth: 200, inclination: -35, roll: 270 },
    { azimuth: 0, inclination: 90, roll: 90 },
  ]) {
    steady.hold(aim, { aim: 0, roll: 0, tremor: 0 });
    const [held, wanted] = [steady.rotationAt(0), attitudeRotation(aim)];
    held.forEach((row, i) => row.forEach((x, j) => expect(x).toBeCloseTo(wanted[i]![j]!, 12)));
  }
});

test('each aim misses the shared target by its own small error, up-down as much as sideways', () => {
  const trembling = hand();
  const errors = Array.from({ length: 2000 }, (_, i) => {
    const roll = 90 * (i % 4);
    trembling.hold({ azimuth: 90, inclination: 0, roll }, { aim: 0.1, roll: 0, tremor: 0 });
    const sight = sightOf(trembling.rotationAt(0));
    // Facing east, north is to the left and up is against z.
    return { aside: -sight[0] / DEGREE, up: -sight[2] / DEGREE };
  });
  const margin = (4 * 0.1) / Math.sqrt(2 * errors.length);
  expect(Math.abs(sdOf(errors.map((e) => e.aside)) - 0.1)).toBeLessThan(margin);
  expect(Math.abs(sdOf(errors.map((e) => e.up)) - 0.1)).toBeLessThan(margin);
});

test('the roll misses by three degrees or so, without moving the aim', () => {
  const rolling = hand();
  const errors = Array.from({ length: 1000 }, () => {
    rolling.hold({ azimuth: 0, inclination: 0, roll: 90 }, { aim: 0, roll: 3, tremor: 0 });
    const rotation = rolling.rotationAt(0);
    expect(sightOf(rotation)[0]).toBeCloseTo(1, 12);
    const down = inBody(rotation, DOWN);
    return Math.atan2(down[1], down[2]) / DEGREE - 90;
  });
  expect(Math.abs(sdOf(errors) - 3)).toBeLessThan((4 * 3) / Math.sqrt(2 * errors.length));
});

test('turning one knob leaves the errors of the other as they were', () => {
  const sightWith = (roll: number) => {
    const one = hand();
    one.hold({ azimuth: 10, inclination: 0, roll: 0 }, { aim: 0.1, roll: 0, tremor: 0 });
    one.hold({ azimuth: 10, inclination: 0, roll: 0 }, { aim: 0.1, roll, tremor: 0 });
    return sightOf(one.rotationAt(0));
  };
  // Rolled, the same error lies another way round the target, but is as long.
  const target = sightOf(attitudeRotation({ azimuth: 10, inclination: 0, roll: 0 }));
  const off = (sight: readonly number[]) =>
    Math.hypot(...sight.map((value, i) => value - target[i]!));
  expect(off(sightWith(3))).toBeCloseTo(off(sightWith(0)), 12);
});

test('with a tremor the instrument turns while it is held; without one it is still', () => {
  const one = hand();
  const aim = { azimuth: 0, inclination: 0, roll: 0 };
  one.hold(aim, { aim: 0, roll: 0, tremor: 0 });
  expect(one.rotationAt(150)).toEqual(one.rotationAt(-150));
  one.hold(aim, { aim: 0, roll: 0, tremor: 1 });
  const [early, late] = [sightOf(one.rotationAt(-150)), sightOf(one.rotationAt(150))];
  const moved = Math.hypot(...early.map((value, i) => value - late[i]!)) / DEGREE;
  expect(moved).toBeGreaterThan(0.01);
  expect(moved).toBeLessThan(2);
});
