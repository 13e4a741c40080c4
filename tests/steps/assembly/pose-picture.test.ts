import { expect, it } from 'vitest';
import { POSES } from '../../../src/steps/assembly/assembly-history.ts';
import { posePicture } from '../../../src/steps/assembly/pose-picture.ts';

const sidesOf = (pose: (typeof POSES)[number]) =>
  posePicture(pose)
    .sides.map(({ name }) => name)
    .sort();

it('the picture shows the sides that somebody south of the board, to its left and above, sees', () => {
  expect(sidesOf('at rest')).toEqual(['right', 'tail', 'top']);
  expect(sidesOf('nose up')).toEqual(['nose', 'right', 'top']);
  expect(sidesOf('nose down')).toEqual(['bottom', 'right', 'tail']);
  expect(sidesOf('right side down')).toEqual(['left', 'tail', 'top']);
  expect(sidesOf('upside down')).toEqual(['bottom', 'left', 'tail']);
  expect(sidesOf('quarter turn')).toEqual(['nose', 'right', 'top']);
});

it('whatever the pose, the board and its sight are within the picture, and the table does not move', () => {
  for (const pose of POSES) {
    const { sides, sight, table } = posePicture(pose);
    for (const [x, y] of [...sides.flatMap(({ corners }) => corners), ...sight]) {
      expect(Math.abs(x)).toBeLessThan(108);
      expect(y).toBeGreaterThan(-102);
      expect(y).toBeLessThan(83);
    }
    expect(table).toEqual(posePicture('at rest').table);
  }
});

it('the sight goes up, down, or level and away or to the right, as it should', () => {
  const slope = (pose: (typeof POSES)[number]) => {
    const [[x1, y1], [x2, y2]] = posePicture(pose).sight;
    return [Math.sign(Math.round(x2 - x1)), Math.sign(Math.round(y2 - y1))];
  };
  expect(slope('nose up')).toEqual([0, -1]);
  expect(slope('nose down')).toEqual([0, 1]);
  expect(slope('at rest')).toEqual([1, -1]);
  expect(slope('quarter turn')).toEqual([1, 1]);
});
