import { describe, expect, it } from 'vitest';
import type { CourseTerms } from '../../../src/records/course-notes.ts';
import { checkNote } from '../../../src/records/note-schemas.ts';
import { settle } from '../../../src/steps/course/settling.ts';
import { hexId, shotsOf, SQUARE, TRUTH } from './made-up-shots.ts';

const CLEAN: CourseTerms = { stations: { clean: ['A'], sigma: 0.05 }, tolerance: 0.5 };

function settled(...given: Parameters<typeof settle>) {
  const outcome = settle(...given);
  if (!outcome.ok) throw new Error(outcome.message);
  return outcome.result;
}

const named = (result: ReturnType<typeof settled>, name: string) =>
  result.instruments.find(({ instrument }) => 'name' in instrument && instrument.name === name)!;

describe('a settled course', () => {
  it('names the one instrument whose azimuths are off, the station that disturbs, and accuses nobody else', () => {
    const shots = shotsOf(SQUARE, ['one', 'two', 'three'], {
      constants: { two: 1.2 },
      stations: { C: 1.5 },
    });
    const result = settled(SQUARE, CLEAN, shots);
    const two = named(result, 'two');
    expect(two.standing).toBe('off');
    // 0.2° of noise over 24 shots each: five standard errors are well under 0.4°
    expect(two.azimuth!.value).toBeCloseTo(1.2, 0);
    expect(Math.abs(two.azimuth!.value - 1.2)).toBeLessThan(0.4);
    expect(two.verdict).toMatch(
      /^Off: its azimuths show 1\.\d\d° ±\s0\.\d\d° too much, against the other/,
    );
    expect(named(result, 'one').standing).toBe('not settled');
    expect(named(result, 'one').verdict).toContain('Agrees with the others');
    expect(
      result.stations.filter(({ disturbs }) => disturbs).map(({ station }) => station),
    ).toEqual(['C']);
    expect(result.notDetermined.join(' ')).toContain('told only against the other instruments');
    expect(result.notDetermined.join(' ')).toContain('a known bearing of a leg');
  });

  it('says by itself how far each is off once a bearing is known, from true north by the declination of the day', () => {
    const declination = { degrees: 3.5, sigma: 0.05, model: 'a model' };
    const layout = {
      ...SQUARE,
      legs: SQUARE.legs.map((leg, i) =>
        i === 1
          ? {
              ...leg,
              azimuth: { degrees: TRUTH[i]!.azimuth + 3.5, sigma: 0.02, north: 'true' as const },
            }
          : leg,
      ),
    };
    const shots = shotsOf(SQUARE, ['one', 'two', 'three'], { constants: { two: -0.9 } });
    const result = settled(layout, CLEAN, shots, declination);
    expect(named(result, 'two').standing).toBe('off');
    expect(named(result, 'one').azimuth).toMatchObject({ against: 'zero' });
    expect(Math.abs(named(result, 'two').azimuth!.value + 0.9)).toBeLessThan(0.4);
    expect(named(result, 'one').standing).toBe('within');
    expect(result.notDetermined).toEqual([]);
    const [first] = result.legs;
    expect(Math.abs(first!.azimuth.alone!.value - TRUTH[0]!.azimuth)).toBeLessThan(0.4);

    const without = settled(layout, CLEAN, shots);
    expect(without.notDetermined.join(' ')).toContain(
      'Bearings from true or grid north were not used',
    );
  });

  it('counts grid north by the convergence: true = grid + convergence', () => {
    const layout = {
      ...SQUARE,
      convergence: -1.5,
      legs: SQUARE.legs.map((leg, i) =>
        i === 0
          ? { ...leg, azimuth: { degrees: TRUTH[0]!.azimuth + 3.5 + 1.5, sigma: 0.02, north: 'grid' as const } } // prettier-ignore
          : leg,
      ),
    };
    const shots = shotsOf(SQUARE, ['one', 'two', 'three'], { noise: 0.05 });
    const result = settled(layout, CLEAN, shots, { degrees: 3.5, sigma: 0.01, model: 'a model' });
    // 0.05° of noise: any mistake of sign would be degrees
    expect(Math.abs(named(result, 'one').azimuth!.value)).toBeLessThan(0.2);
  });

  it('names a shot that was aimed the wrong way round, with the evidence', () => {
    const shots = shotsOf(SQUARE, ['one', 'two', 'three']);
    const turned = shots.map((shot, i) =>
      i === 5
        ? { ...shot, azimuth: (shot.azimuth! + 180) % 360, inclination: -shot.inclination! }
        : shot,
    );
    const result = settled(SQUARE, CLEAN, turned);
    expect(result.doubted).toHaveLength(1);
    expect(result.doubted[0]!.shot).toBe(shots[5]!.id);
    expect(result.doubted[0]!.words).toMatch(/^one, B to C|^one, C to B/);
    expect(result.doubted[0]!.words).toContain('It would fit the same leg shot the other way');
  });

  it('says in words what a course without shots cannot be', () => {
    const outcome = settle(SQUARE, CLEAN, []);
    expect(outcome.ok || outcome.message.length).toBeGreaterThan(10);
    expect(outcome.ok).toBe(false);
  });

  it('can be written down and brought in elsewhere as it was', () => {
    const shots = shotsOf(SQUARE, ['one', 'two', 'three'], { constants: { two: 1.2 } });
    const result = settled(SQUARE, CLEAN, shots);
    const note = {
      id: hexId(1),
      paper: hexId(2),
      of: 'course',
      time: '2031-05-12T12:00:00.000Z',
      body: {
        kind: 'outing settled',
        outing: hexId(0xa),
        shots: shots.map(({ id }) => id),
        layout: SQUARE,
        terms: CLEAN,
        result,
      },
    };
    const read = checkNote(JSON.parse(JSON.stringify(note)));
    expect(read).toEqual({ ok: true, note });
  });
});
