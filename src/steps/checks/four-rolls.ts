import { degrees, turn } from '../../calib/geometry.ts';
import type { CheckFigure } from '../../records/entries.ts';
import { estimate, figureOf, mean, middleOf, scatterOf, type Term } from './estimate.ts';
import type { Taken } from './taken.ts';

/**
 * Four rolls on one mark: what turns with roll. With y₀, y₉₀, y₁₈₀, y₂₇₀ the means at the four rolls (azimuth × cos
 * inclination, or inclination), what turns once with roll is (y₀ − y₁₈₀)/2 and (y₉₀ − y₂₇₀)/2, what turns twice
 * (y₀ − y₉₀ + y₁₈₀ − y₂₇₀)/4: the coefficients of a Fourier series over four equal steps. What is alike in all rolls is in
 * none of them.
 */
export function fourRollFigures({ groups, calibration, limit }: Taken): CheckFigure[] {
  const rolls = ['0', '90', '180', '270'].map((roll) => groups.get(roll)!);
  const middles = rolls.map(middleOf);
  const azimuth = middles[0]!.azimuth;
  const level = Math.cos(mean(middles.map((each) => each.inclination)));
  const angles = {
    azimuth: rolls.map((group) => group.map((each) => turn(azimuth, each.azimuth) * level)),
    inclination: rolls.map((group) => group.map((each) => each.inclination)),
  };
  return (['azimuth', 'inclination'] as const).flatMap((angle) =>
    PARTS.map(({ name, weights }) => {
      const terms = weights.flatMap((weight, i): Term[] =>
        weight === 0 ? [] : [{ weight, values: angles[angle][i]!, at: middles[i]!, angle }],
      );
      const found = estimate(terms, scatterOf(angles[angle]), calibration);
      const { value, half, n } = found;
      const inDegrees = { value: degrees(value), half: degrees(half), n };
      return figureOf(`${ANGLES[angle]}, ${name}`, inDegrees, '°', limit);
    }),
  );
}

const ANGLES = { azimuth: 'Azimuth × cos inclination', inclination: 'Inclination' };

const PARTS = [
  { name: 'half of upright less upside down', weights: [1 / 2, 0, -1 / 2, 0] },
  { name: 'half of quarter right less quarter left', weights: [0, 1 / 2, 0, -1 / 2] },
  { name: 'what turns twice with roll', weights: [1 / 4, -1 / 4, 1 / 4, -1 / 4] },
];
