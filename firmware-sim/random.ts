import { uniformFloat64 } from 'pure-rand/distribution/uniformFloat64';
import { xoroshiro128plusFromState } from 'pure-rand/generator/xoroshiro128plus';

/**
 * Seeded random numbers. One seed gives as many independent streams as there are names, so that drawing more or
 * fewer numbers in one place never shifts those of another.
 */
export interface Random {
  /** Uniform in [0, 1). */
  uniform(): number;
  /** Uniform in [from, to). */
  between(from: number, to: number): number;
  /** Normal with mean 0 and standard deviation 1. */
  normal(): number;
  /** A whole number in [0, count). */
  below(count: number): number;
}

/** FNV-1a over the text, then the final mixing of MurmurHash3, so that similar names give unlike numbers. */
function hash(text: string): number {
  let h = 0x811c9dc5;
  for (let i = 0; i < text.length; i++) h = Math.imul(h ^ text.charCodeAt(i), 0x01000193);
  h = Math.imul(h ^ (h >>> 16), 0x85ebca6b);
  h = Math.imul(h ^ (h >>> 13), 0xc2b2ae35);
  return (h ^ (h >>> 16)) >>> 0;
}

/** The stream of `name` under `seed`. The same pair gives the same numbers, always. */
export function randomStream(seed: number, name: string): Random {
  const state = [0, 1, 2, 3].map((word) => hash(`${word}:${seed}:${name}`) | 0);
  const generator = xoroshiro128plusFromState(state);
  const uniform = (): number => uniformFloat64(generator);
  return {
    uniform,
    between: (from, to) => from + (to - from) * uniform(),
    // Box and Muller, both uniforms drawn anew each time: two draws per number, whatever happens around it.
    normal: () => Math.sqrt(-2 * Math.log(1 - uniform())) * Math.cos(2 * Math.PI * uniform()),
    below: (count) => Math.floor(uniform() * count),
  };
}

/** A number in [0, 2³²) that stands for the text, for serial numbers and the like. */
export const fingerprint = hash;
