import { expect, test } from 'vitest';
import { randomStream } from '../../firmware-sim/random.ts';

const draw = (seed: number, name: string, count: number): number[] => {
  const stream = randomStream(seed, name);
  return Array.from({ length: count }, () => stream.uniform());
};

test('one seed and name always give the same numbers, another seed or name gives others', () => {
  expect(draw(1, 'noise', 20)).toEqual(draw(1, 'noise', 20));
  expect(draw(2, 'noise', 20)).not.toEqual(draw(1, 'noise', 20));
  expect(draw(1, 'aim', 20)).not.toEqual(draw(1, 'noise', 20));
});

test('neighbouring seeds are not alike: their numbers do not go together', () => {
  const count = 4000;
  const [a, b] = [draw(1, 'noise', count), draw(2, 'noise', count)];
  const product = a.reduce((sum, x, i) => sum + (x - 0.5) * (b[i]! - 0.5), 0) / count;
  expect(Math.abs(product * 12)).toBeLessThan(4 / Math.sqrt(count));
});

test('drawing more from one stream shifts nothing in another', () => {
  const alone = draw(7, 'aim', 5);
  const [aim, noise] = [randomStream(7, 'aim'), randomStream(7, 'noise')];
  const mixed = Array.from({ length: 5 }, () => {
    noise.normal();
    return aim.uniform();
  });
  expect(mixed).toEqual(alone);
});

test('normal numbers have mean 0, standard deviation 1 and the tails of a normal distribution', () => {
  const stream = randomStream(3, 'normal');
  const count = 40_000;
  const values = Array.from({ length: count }, () => stream.normal());
  const mean = values.reduce((sum, x) => sum + x, 0) / count;
  const variance = values.reduce((sum, x) => sum + x * x, 0) / count;
  const beyond = values.filter((x) => Math.abs(x) > 1.959964).length / count;
  expect(Math.abs(mean)).toBeLessThan(4 / Math.sqrt(count));
  expect(Math.abs(variance - 1)).toBeLessThan(4 * Math.sqrt(2 / count));
  expect(Math.abs(beyond - 0.05)).toBeLessThan(4 * Math.sqrt((0.05 * 0.95) / count));
});

test('whole numbers cover their range and nothing beyond it', () => {
  const stream = randomStream(4, 'whole');
  const seen = new Set(Array.from({ length: 500 }, () => stream.below(8)));
  expect([...seen].sort()).toEqual([0, 1, 2, 3, 4, 5, 6, 7]);
});
