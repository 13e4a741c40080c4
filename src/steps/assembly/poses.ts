import type { AssemblyPose } from '../../records/entries.ts';
import type { TurnProblem } from './turns.ts';
import type { Attitude } from '../../protocol/simulator.ts';

/** The poses of the check in degrees and in words. Azimuth counts from magnetic north. */
export const POSE: Record<
  AssemblyPose,
  Attitude & {
    /** As a heading. */
    name: string;
    /** What to do, for whoever looks north. */
    how: string;
  }
> = {
  'at rest': {
    ...{ azimuth: 0, inclination: 0, roll: 0 },
    name: 'Level, the nose to the north',
    how: 'Lay it level and upright on a firm table without steel, its sight to the north as a phone or a compass shows it, and let go.',
  },
  'nose up': {
    ...{ azimuth: 0, inclination: 90, roll: 0 },
    name: 'Nose up',
    how: 'Look north. From level, tip it up until the sight points at the sky and its top faces you.',
  },
  'nose down': {
    ...{ azimuth: 0, inclination: -90, roll: 0 },
    name: 'Nose down',
    how: 'Look north. From level, tip it down until the sight points at the ground and its top faces away from you.',
  },
  'right side down': {
    ...{ azimuth: 0, inclination: 0, roll: 90 },
    name: 'Right side down',
    how: 'The sight to the north and level, lay it on its right side: the side on your right as you aim.',
  },
  'upside down': {
    ...{ azimuth: 0, inclination: 0, roll: 180 },
    name: 'Upside down',
    how: 'The sight to the north and level, lay it on its top.',
  },
  'quarter turn': {
    ...{ azimuth: 90, inclination: 0, roll: 0 },
    name: 'A quarter turn to the right',
    how: 'Level and upright as at first; then turn it to the right, flat on the table, until the sight points east.',
  },
};

/** How it lies, as the rest of a sentence. */
export const LIES: Record<AssemblyPose, string> = {
  'at rest': 'level and upright',
  'nose up': 'with its nose up',
  'nose down': 'with its nose down',
  'right side down': 'on its right side',
  'upside down': 'upside down',
  'quarter turn': 'level and upright, turned to the east',
};

/** Why a turn does not count yet, and what to do, as a person would say it. */
export function turnWords(pose: AssemblyPose, problem: TurnProblem): string {
  switch (problem.problem) {
    case 'moving':
      return 'It did not come to rest. Let it lie, or prop it against something that is not steel, and look again.';
    case 'not turned':
      return `It lies as it did ${LIES[problem.as]}, as far as its sensors say. Turn it as in the picture and look again.`;
    case 'otherwise':
      return `By its accelerometer it lies ${problem.as ?? 'between two sides'}, and should lie ${LIES[pose]}. See whether it is as in the picture: if not, turn it and look again; if it is, count it, and the board is to blame.`;
  }
}
