import { expect, it } from 'vitest';
import { PLACES, type HelpTopic } from '../../src/steps/next-step.ts';
import { HELP } from '../../src/steps/step-help.ts';

const topics: readonly HelpTopic[] = [...PLACES, 'Hold', 'Done'];
const textOf = (topic: HelpTopic) =>
  HELP[topic].points.map(({ say, why }) => `${say} ${why}`).join('\n');

it('has help for every place of the path, each point a sentence with its reason', () => {
  expect(Object.keys(HELP).sort()).toEqual([...topics].sort());
  for (const topic of topics) {
    expect(HELP[topic].title).toMatch(/^Help: /);
    expect(HELP[topic].points.length).toBeGreaterThanOrEqual(3);
    for (const { say, why } of HELP[topic].points) {
      expect(say).toMatch(/^[A-Z].*[.”]$/);
      expect(why).toMatch(/^\S.*\.$/);
    }
  }
});

it('says how far a mark may be missed, as the angle is', () => {
  const off = (metres: number) => ((Math.atan(0.001 / metres) * 180) / Math.PI).toFixed(2);
  expect(textOf('Look')).toContain(`1 mm is ${off(3)}° off from 3 m away, and ${off(1)}° from 1 m`);
  expect(textOf('Hold')).toContain(`1 mm beside the mark is ${off(3)}° from 3 m away`);
});

it('warns whoever holds a board of its light, and says which way is upright where there is no sky', () => {
  expect(textOf('Hold')).toContain('must never meet an eye');
  expect(textOf('Hold')).toContain('top to the south aiming up, and to the north aiming down');
});
