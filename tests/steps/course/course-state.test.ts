import { describe, expect, it } from 'vitest';
import type { CourseNote } from '../../../src/records/course-notes.ts';
import {
  countedShots,
  courseOf,
  ORDINARY_TERMS,
  shotsOfNoLeg,
  type ReadNote,
} from '../../../src/steps/course/course-state.ts';
import {
  expectedPlaces,
  matchByNearness,
  matchByOrder,
} from '../../../src/steps/course/matching.ts';
import { settle } from '../../../src/steps/course/settling.ts';
import { openPlaces, placesOf } from '../../../src/steps/course/shot-places.ts';
import { hexId, shotsOf, SQUARE, TRUTH } from './made-up-shots.ts';

const OUTING = hexId(0xa);
let written = 0;
const note = (body: CourseNote, id = hexId(++written)): ReadNote => ({
  id,
  time: new Date(Date.UTC(2031, 4, 12) + ++written).toISOString(),
  body,
});
const LAID_OUT = note({ kind: 'course laid out', ...SQUARE });
const BEGUN = note({ kind: 'outing begun', outing: OUTING, day: '2031-05-12' });
const shotNotes = (names: readonly string[]) =>
  shotsOf(SQUARE, names).map(({ id, ...shot }) => note({ kind: 'shot', ...shot }, id));

describe('the notes of a course', () => {
  it('say the same in whatever order they come', () => {
    const shots = shotNotes(['one']);
    const aside = note({ kind: 'shot set aside', shot: shots[0]!.id, reason: 'knocked' });
    const notes = [LAID_OUT, BEGUN, ...shots, aside];
    const state = courseOf(notes)!;
    expect(courseOf([...notes].reverse())).toEqual(state);
    expect(state.outings[0]!.shots[0]).toMatchObject({ id: shots[0]!.id, setAside: 'knocked' });
    const back = note({ kind: 'shot taken back', shot: shots[0]!.id });
    expect(courseOf([back, ...notes])!.outings[0]!.shots[0]).not.toHaveProperty('setAside');
  });

  it('are of no course before one is laid out', () => {
    expect(courseOf([BEGUN])).toBeUndefined();
  });

  it('leave a result standing until a shot, the terms or the layout change', () => {
    const shots = shotNotes(['one', 'two', 'three']);
    const before = courseOf([LAID_OUT, BEGUN, ...shots])!;
    const outcome = settle(SQUARE, ORDINARY_TERMS, before.outings[0]!.shots);
    if (!outcome.ok) throw new Error(outcome.message);
    const settled = note({
      kind: 'outing settled',
      outing: OUTING,
      shots: shots.map(({ id }) => id),
      layout: SQUARE,
      terms: ORDINARY_TERMS,
      result: outcome.result,
    });
    const notes = [LAID_OUT, BEGUN, ...shots, settled];
    expect(courseOf(notes)!.outings[0]!.settled).toBeDefined();
    for (const change of [
      note({ kind: 'shot set aside', shot: shots[3]!.id, reason: 'wind' }),
      note({ kind: 'course terms', ...ORDINARY_TERMS, tolerance: 1 }),
      note({ kind: 'course laid out', ...SQUARE, each: 3 }),
    ]) {
      const [outing] = courseOf([...notes, change])!.outings;
      expect(outing!.settled).toBeUndefined();
      expect(outing!.before).toBeDefined();
    }
    // years later the course may be another: what this day came to stands
    const later = note({ kind: 'outing begun', outing: hexId(0xb), day: '2032-05-12' });
    const wider = note({ kind: 'course laid out', ...SQUARE, each: 3 });
    expect(courseOf([...notes, later, wider])!.outings[0]!.settled).toBeDefined();
  });
});

describe('shots of a leg that was changed since', () => {
  const notes = [LAID_OUT, BEGUN, ...shotNotes(['one'])];
  const outingWith = (legs: typeof SQUARE.legs) =>
    courseOf([...notes, note({ kind: 'course laid out', ...SQUARE, legs })])!.outings[0]!;

  it('count the other way once the leg is turned round', () => {
    const [first, ...others] = SQUARE.legs;
    const legs = [{ from: first!.to, to: first!.from }, ...others];
    const turned = outingWith(legs);
    expect(countedShots(turned)).toHaveLength(24);
    // the first was shot from A to B: that is back on a leg from B to A
    expect(turned.shots[0]).toMatchObject({ leg: { from: 'B', to: 'A' }, way: 'back' });
    expect(openPlaces({ ...SQUARE, legs }, turned.shots, { name: 'one' })).toEqual([]);
  });

  it('do not count where the leg is gone, are told apart from the others, and count again once it is back', () => {
    const without = outingWith(SQUARE.legs.slice(1));
    expect(countedShots(without)).toHaveLength(20);
    expect(shotsOfNoLeg(without).map(({ way }) => way)).toEqual(['fore', 'fore', 'back', 'back']);
    expect(shotsOfNoLeg(outingWith(SQUARE.legs))).toEqual([]);
  });
});

describe('places', () => {
  it('are open until they have as many shots as are wanted, set aside ones not counted', () => {
    const all = placesOf(SQUARE);
    expect(all).toHaveLength(24);
    expect(all[0]).toMatchObject({ at: 'A', aimed: 'B', way: 'fore' });
    expect(all[2]).toMatchObject({ at: 'B', aimed: 'A', way: 'back' });
    const shots = shotsOf(SQUARE, ['one']);
    expect(openPlaces(SQUARE, shots, { name: 'one' })).toEqual([]);
    const aside = shots.map((shot, i) => (i === 7 ? { ...shot, setAside: 'wind' } : shot));
    expect(openPlaces(SQUARE, aside, { name: 'one' })).toEqual([all[7]]);
    expect(openPlaces(SQUARE, shots, { board: 'one' })).toHaveLength(24);
  });
});

describe('readings of a memory', () => {
  const seen = shotsOf(SQUARE, ['one'], { noise: 0.1 });
  const expected = expectedPlaces(SQUARE, seen);
  const other = shotsOf(SQUARE, ['two'], { seed: 2, constants: { two: 0.7 } });

  it('are found again by where they point, in whatever order', () => {
    const mixed = [...other].reverse();
    const matches = matchByNearness(mixed, expected);
    matches.forEach((match, i) => {
      expect(match.doubt).toBeUndefined();
      expect(match.place).toMatchObject({ leg: mixed[i]!.leg, way: mixed[i]!.way });
    });
  });

  it('are asked about where no leg is near, where two are, or where nothing is known', () => {
    expect(matchByNearness([{ azimuth: 64, inclination: 4 }], expected)[0]).toMatchObject({
      doubt: expect.stringContaining('No leg is near'),
    });
    const close = expectedPlaces(
      { ...SQUARE, legs: SQUARE.legs.slice(0, 2) },
      seen.map((shot) =>
        shot.leg.from === 'B' && shot.leg.to === 'C' && shot.way === 'fore'
          ? { ...shot, azimuth: 42, inclination: 5 }
          : shot.leg.from === 'B' && shot.leg.to === 'C'
            ? { ...shot, azimuth: 222, inclination: -5 }
            : shot,
      ),
    );
    expect(matchByNearness([{ azimuth: 41, inclination: 5.4 }], close)[0]!.doubt).toContain('about as near'); // prettier-ignore
    expect(matchByNearness([{ azimuth: 41 }], [])[0]).not.toHaveProperty('place');
  });

  it('are found by shots of earlier days too, whose leg was turned round since', () => {
    const legs = SQUARE.legs.map(({ from, to }) => ({ from: to, to: from }));
    const [, back] = expectedPlaces({ ...SQUARE, legs }, seen);
    expect(back!.place).toMatchObject({ at: 'A', aimed: 'B', way: 'back' });
    expect(Math.abs(back!.angles.azimuth - TRUTH[0]!.azimuth)).toBeLessThan(0.3);
  });

  it('follow the places by order, and one that points elsewhere is asked about', () => {
    const places = placesOf(SQUARE);
    const matches = matchByOrder(other, places, expected);
    expect(matches.every(({ doubt }) => doubt === undefined)).toBe(true);
    const missed = matchByOrder(other.slice(1), places, expected);
    expect(missed[1]!.doubt).toContain('away from there');
    expect(missed[1]!.doubt).toContain('nearer to B to A');
    expect(matchByOrder(other, places.slice(0, 3), expected)[3]!.doubt).toContain('none is left');
  });

  it('are not far from the truth they were made from', () => {
    const fore = expected.find(({ place }) => place.at === 'B' && place.aimed === 'D')!;
    // eight shots of 0.1°; and an azimuth across north is no mean of 358° and 2°
    expect(Math.abs(fore.angles.azimuth - TRUTH[5]!.azimuth)).toBeLessThan(0.3);
  });
});
