import { expect, it } from 'vitest';
import type { CourseTerms } from '../../../src/records/course-notes.ts';
import type { SettledState } from '../../../src/steps/course/course-state.ts';
import { compared } from '../../../src/steps/course/course-years.ts';
import { settle, type Declination } from '../../../src/steps/course/settling.ts';
import { shotsOf, SQUARE, TRUTH, type Wrongs } from './made-up-shots.ts';

const TERMS: CourseTerms = { stations: { clean: ['A'], sigma: 0 }, tolerance: 0.5 };
const LAYOUT = {
  ...SQUARE,
  legs: SQUARE.legs.map((leg, i) =>
    i === 0
      ? { ...leg, azimuth: { degrees: TRUTH[0]!.azimuth, sigma: 0, north: 'true' as const } }
      : leg,
  ),
};

/** What a day came to on which magnetic north was so far east of true. */
function day(
  name: string,
  wrongs: Wrongs,
  declination: number,
): { day: string; settled: SettledState } {
  const moved = TRUTH.map(({ azimuth, inclination }) => ({
    azimuth: azimuth - declination,
    inclination,
  }));
  const truth = wrongs.truth?.map(({ azimuth, inclination }) => ({ azimuth: azimuth - declination, inclination })); // prettier-ignore
  const shots = shotsOf(LAYOUT, ['one', 'two', 'three'], { truth: moved, ...wrongs, ...(truth && { truth }) }); // prettier-ignore
  const north: Declination = { degrees: declination, sigma: 0, model: 'a model' };
  const outcome = settle(LAYOUT, TERMS, shots, north);
  if (!outcome.ok) throw new Error(outcome.message);
  return {
    day: name,
    settled: {
      outing: name,
      time: `${name}T12:00:00.000Z`,
      shots: [],
      layout: LAYOUT,
      terms: TERMS,
      declination: north,
      result: outcome.result,
    },
  };
}

const name = () => '';

it('a course that has not changed is not found changed, though magnetic north has moved by a degree', () => {
  const apart = compared(
    day('2031-05-12', { seed: 3 }, 2),
    day('2036-05-12', { seed: 4 }, 3),
    name,
  );
  expect(apart.changes.length).toBeGreaterThan(15);
  expect(apart.changes.filter(({ changed }) => changed)).toEqual([]);
  // without the shift every leg would be a degree off, some ten standard errors
  const legs = apart.changes.filter(({ what }) => what === 'leg azimuth');
  expect(legs.every(({ change }) => Math.abs(change) < 0.5)).toBe(true);
});

it('a station where iron was buried since, and a leg whose mark was moved, are found by name', () => {
  const truth = TRUTH.map((leg, i) =>
    i === 2 ? { ...leg, inclination: leg.inclination + 1 } : leg,
  );
  const apart = compared(
    day('2031-05-12', { seed: 3 }, 2),
    day('2036-05-12', { seed: 4, stations: { C: 1.5 }, truth }, 2.5),
    name,
  );
  const changed = apart.changes.filter((each) => each.changed);
  expect(changed.map(({ what, name }) => `${what} ${name}`)).toEqual([
    'leg inclination C to D',
    'station C',
  ]);
  expect(Math.abs(changed[1]!.change - 1.5)).toBeLessThan(0.5);
});
