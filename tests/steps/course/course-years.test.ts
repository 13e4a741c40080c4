import { expect, it } from 'vitest';
import type { CourseLayout, CourseTerms } from '../../../src/records/course-notes.ts';
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

/** What is not as on {@link LAYOUT}, where each day is settled from a true bearing and a clean station. */
interface Otherwise {
  layout?: CourseLayout;
  terms?: CourseTerms;
  names?: readonly string[];
}

/** What a day came to on which magnetic north was so far east of true. */
function day(
  name: string,
  wrongs: Wrongs,
  declination: number,
  { layout = LAYOUT, terms = TERMS, names = ['one', 'two', 'three'] }: Otherwise = {},
): { day: string; settled: SettledState } {
  const moved = TRUTH.map(({ azimuth, inclination }) => ({
    azimuth: azimuth - declination,
    inclination,
  }));
  const truth = wrongs.truth?.map(({ azimuth, inclination }) => ({ azimuth: azimuth - declination, inclination })); // prettier-ignore
  const shots = shotsOf(layout, names, { truth: moved, ...wrongs, ...(truth && { truth }) }); // prettier-ignore
  const north: Declination = { degrees: declination, sigma: 0, model: 'a model' };
  const outcome = settle(layout, terms, shots, north);
  if (!outcome.ok) throw new Error(outcome.message);
  return {
    day: name,
    settled: {
      outing: name,
      time: `${name}T12:00:00.000Z`,
      shots: [],
      layout,
      terms,
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

const MAGNETIC: CourseLayout = {
  ...SQUARE,
  legs: LAYOUT.legs.map(({ azimuth, ...leg }) =>
    azimuth ? { ...leg, azimuth: { ...azimuth, degrees: 38, north: 'magnetic' } } : leg,
  ),
};

it('a bearing known from magnetic north that has aged changes neither legs nor instruments', () => {
  // it was 38° from magnetic north in the first year, and is kept though it is 37° in the last
  const apart = compared(
    day('2031-05-12', { seed: 3 }, 2, { layout: MAGNETIC }),
    day('2036-05-12', { seed: 4 }, 3, { layout: MAGNETIC }),
    name,
  );
  const azimuths = apart.changes.filter(({ what }) => what.endsWith('azimuth'));
  expect(azimuths).toHaveLength(9); // of six legs, the known one among them, and three instruments
  expect(azimuths.filter(({ changed }) => changed)).toEqual([]);
  expect(azimuths.every(({ change }) => Math.abs(change) < 0.5)).toBe(true);
  expect(apart.notCompared.join()).not.toContain('magnetic north');
});

it('says so where a bearing from magnetic north has aged and nothing tells by how much', () => {
  const [before, now] = [
    day('2031-05-12', { seed: 3 }, 2, { layout: MAGNETIC }),
    day('2036-05-12', { seed: 4 }, 3, { layout: MAGNETIC }),
  ];
  const { declination: _, ...settled } = now.settled;
  const apart = compared(before, { ...now, settled }, name);
  expect(apart.notCompared.join()).toContain('A bearing known from magnetic north');
});

it('compares instruments against the others only where the others are the same', () => {
  const alone: Otherwise = { layout: SQUARE, terms: { stations: 'nothing said', tolerance: 0.5 } };
  const first = day('2031-05-12', { seed: 3, constants: { three: 3 } }, 0, alone);
  const compare = (names: readonly string[]) =>
    compared(first, day('2032-05-12', { seed: 4, constants: { three: 3 } }, 0, { ...alone, names }), name); // prettier-ignore
  const instruments = ({ changes }: ReturnType<typeof compare>) =>
    changes.filter(({ what }) => what === 'instrument azimuth');
  const same = compare(['three', 'two', 'one']);
  expect(instruments(same)).toHaveLength(3);
  const without = compare(['one', 'two', 'four']);
  expect(instruments(without)).toEqual([]);
  expect(without.notCompared.join()).toContain('the others were not the same ones');
  expect(same.notCompared.join()).not.toContain('the others were not the same ones');
});
