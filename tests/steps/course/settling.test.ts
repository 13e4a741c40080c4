import { describe, expect, it } from 'vitest';
import type { CourseTerms } from '../../../src/records/course-notes.ts';
import { checkNote } from '../../../src/records/note-schemas.ts';
import { quantityWords, settledVerdict } from '../../../src/steps/course/course-words.ts';
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

const headline = (result: ReturnType<typeof settled>) =>
  settledVerdict({ result }, ({ instrument }) => ('name' in instrument ? instrument.name : ''));

const isOf = ({ instrument }: ReturnType<typeof shotsOf>[number], name: string): boolean =>
  'name' in instrument && instrument.name === name;

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

  describe('whose clean station is not clean', () => {
    const layout = {
      ...SQUARE,
      legs: SQUARE.legs.map((leg, i) =>
        i === 0
          ? { ...leg, azimuth: { degrees: TRUTH[0]!.azimuth, sigma: 0.05, north: 'magnetic' as const } } // prettier-ignore
          : leg,
      ),
    };
    const shots = shotsOf(SQUARE, ['one', 'two', 'three'], { stations: { B: 2 } });

    it.each([0.1, 0])('speaks against it, and sends nobody to calibrate again: to %d°', (sigma) => {
      const terms: CourseTerms = { stations: { clean: ['A', 'B', 'C'], sigma }, tolerance: 0.5 };
      const result = settled(layout, terms, shots);
      expect(result.causes).toEqual(['known disagrees']);
      expect(result.warnings.join(' ')).toMatch(/That the field is not turned at B does not fit: all else puts it [12]\.\d\d° away/); // prettier-ignore
      expect(result.instruments.map(({ standing }) => standing)) //
        .toEqual(Array(3).fill('not settled'));
      const verdict = headline(result);
      expect(verdict.standing).toBe('watch');
      expect(verdict.words).toContain('What was said to be known does not fit: look at that first');
      expect(verdict.words).not.toContain('alibrate');
    });
  });

  it('with all instruments off alike sends to what was said to be known, not to calibrate', () => {
    const layout = {
      ...SQUARE,
      legs: SQUARE.legs.map((leg, i) =>
        i === 0
          ? { ...leg, azimuth: { degrees: TRUTH[0]!.azimuth - 3, sigma: 0.05, north: 'magnetic' as const } } // prettier-ignore
          : leg,
      ),
    };
    const result = settled(layout, CLEAN, shotsOf(SQUARE, ['one', 'two', 'three']));
    expect(result.causes).toEqual(['all off alike']);
    expect(headline(result)).toMatchObject({ standing: 'watch' });
    expect(headline(result).words).toContain('look first at what was said to be known');
    expect(headline(result).words).not.toContain('alibrate');
  });

  it('says to calibrate one that is off, to shoot again with one that scatters, to put right one that is reversed', () => {
    const shots = shotsOf(SQUARE, ['one', 'two', 'three', 'four'], { constants: { two: 1.2 } });
    expect(headline(settled(SQUARE, CLEAN, shots)).words) //
      .toBe('two: off. Calibrate it again before it is used.');
    const shaken = shots.map(
      (shot, i) =>
      isOf(shot, 'three') ? { ...shot, inclination: shot.inclination! + (i % 2 ? 1.5 : -1.5) } : shot, // prettier-ignore
    );
    expect(headline(settled(SQUARE, CLEAN, shaken))).toMatchObject({
      standing: 'bad',
      words: expect.stringMatching(/^two: off.* three: too unsteady\. Shoot again with it;/) as string, // prettier-ignore
    });
    const reversed = settled(
      SQUARE,
      CLEAN,
      shots.map((shot) =>
        isOf(shot, 'four') ? { ...shot, inclination: -shot.inclination! } : shot,
      ),
    );
    expect(named(reversed, 'four')).toMatchObject({
      standing: 'not settled',
      reversed: 'sign changed',
    });
    expect(named(reversed, 'four').verdict).toContain('wrong sign throughout');
    expect(named(reversed, 'four')).not.toHaveProperty('inclination');
    expect(headline(reversed).words).toContain('four: all shots are reversed');
  });

  it('says that it cannot see a turn of the field, unless a reference tells it', () => {
    const blind = /^A field that turned through the day/;
    const shots = shotsOf(SQUARE, ['one', 'two', 'three']).map((shot, i) => ({
      ...shot,
      // in turn, so that the first shoots from beginning to end
      taken: new Date(Date.UTC(2031, 4, 12, 9, (i % 24) * 5)).toISOString(),
    }));
    const said = (terms: CourseTerms) =>
      settled(SQUARE, terms, shots).blindTo.filter((words) => blind.test(words)).length;
    expect(said(CLEAN)).toBe(1);
    expect(said({ ...CLEAN, reference: { instrument: { name: 'one' } } })).toBe(0);
  });

  it('says of shots too steep for an azimuth that these do not count, not that there are none', () => {
    const steep = shotsOf(SQUARE, ['one', 'two'], {
      truth: TRUTH.map(({ azimuth }) => ({ azimuth, inclination: 89 })),
      noise: 0.1,
    });
    const result = settled(SQUARE, CLEAN, steep);
    expect(result.notDetermined).toContain(
      `${steep.length} shots are too steep for their azimuth to count.`,
    );
    expect(named(result, 'one').words).toContain(
      'All its shots are too steep for their azimuth to count.',
    );
    expect(named(result, 'one').words.join(' ')).not.toContain('It has no azimuths');
  });

  it('of one instrument alone does not speak of others', () => {
    const words = settled(SQUARE, CLEAN, shotsOf(SQUARE, ['one'])).notDetermined.join(' ');
    expect(words).toContain('there is no other instrument beside it');
    expect(words).not.toContain('against the other instruments');
  });

  it('writes an azimuth just under a whole turn as nothing, and no inclination so', () => {
    const alone = { value: 359.997, error: 0.01, half: 0.02 };
    expect(quantityWords({ alone }, true)).toBe('0.00° ±\u00a00.02°');
    expect(quantityWords({ alone: { ...alone, value: 359.99 } }, true)).toMatch(/^359\.99°/);
  });

  it('says in words what a course without shots cannot be', () => {
    const outcome = settle(SQUARE, CLEAN, []);
    expect(outcome.ok || outcome.message.length).toBeGreaterThan(10);
    expect(outcome.ok).toBe(false);
  });

  it('can be written down and brought in elsewhere as it was', () => {
    const shots = shotsOf(SQUARE, ['one', 'two', 'three'], { constants: { two: 1.2 } });
    // with a cause kept, and one that is reversed
    const given = shots.map((shot) =>
      isOf(shot, 'three') ? { ...shot, inclination: -shot.inclination! } : shot,
    );
    const terms = { ...CLEAN, reference: { instrument: { name: 'one' } } };
    const result = settled(SQUARE, terms, given);
    expect(result.causes).toEqual(['reference too short']);
    expect(named(result, 'three').reversed).toBe('sign changed');
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
        terms,
        result,
      },
    };
    const read = checkNote(JSON.parse(JSON.stringify(note)));
    expect(read).toEqual({ ok: true, note });
  });
});
