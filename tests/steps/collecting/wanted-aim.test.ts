import { describe, expect, it } from 'vitest';
import { bodyVectors, radians } from '../../../src/calib/geometry.ts';
import type { Coefficients } from '../../../src/calib/model.ts';
import type { Entry } from '../../../src/records/entries.ts';
import { afterEntry, EMPTY_HISTORY } from '../../../src/steps/calibration-state.ts';
import { offsetTo } from '../../../src/steps/collecting/aim-offset.ts';
import { attitudeNow } from '../../../src/steps/collecting/attitude-now.ts';
import { wantedAim, wantedWords } from '../../../src/steps/collecting/wanted-aim.ts';
import type { PlaceState } from '../../../src/steps/place-state.ts';

const DIP = radians(65);

/** A board without any fault, whose counts are the vectors themselves. */
const PERFECT: Coefficients = {
  model: 'straight',
  accScale: 1,
  magScale: 1,
  o: [0, 0, 0],
  A: [1, 0, 0, 0, 1, 0, 0, 0, 1],
  p: [0, 0, 0],
  B: [1, 0, 0, 0, 1, 0, 0, 0, 1],
  q: [0, 0, 0],
};
const stamp = { board: 'B1', calibration: 'C1', time: '2026-11-25T12:00:00.000Z' };

interface Held {
  azimuth: number;
  inclination: number;
  roll: number;
}

const countsOf = ({ azimuth, inclination, roll }: Held) => {
  const { g, b } = bodyVectors(radians(azimuth), radians(inclination), radians(roll), DIP);
  return { acc: g, mag: b };
};

/** A plan of one line, of which these were taken, the board really held so. */
function stateAfter(
  planned: { azimuth: number; inclination: number },
  taken: readonly Held[],
  { isFitted = true } = {},
): PlaceState {
  const rolls = [0, 90, 180, 270];
  const entries: Entry[] = [
    {
      ...stamp,
      kind: 'calibration started',
      plan: { name: 'one line', azimuths: 'absolute', sightings: [{ sighting: '1', ...planned, rolls }] }, // prettier-ignore
    },
    ...taken.map((held, i): Entry => {
      const reading = { reading: i + 1, generation: 0, ...countsOf(held) };
      const aim = { ...planned, roll: rolls[i]! };
      return { ...stamp, kind: 'reading', id: String(i + 1), sighting: '1', aim, reading };
    }),
  ];
  const live = { ok: true, coefficients: PERFECT } as unknown as NonNullable<PlaceState['live']>;
  return {
    link: { state: 'linked', kind: 'serial' },
    history: entries.reduce(afterEntry, EMPTY_HISTORY),
    said: '',
    ...(isFitted && { live }),
  };
}

const lookAt = (held: Held) =>
  attitudeNow(countsOf(held), [{ from: 'provisional', coefficients: PERFECT }])!;

describe('the aim wanted', () => {
  const plan = { azimuth: 45, inclination: 35 };

  it('is the plan’s before the first reading of a sighting, and as long as nothing tells how one was held', () => {
    const none = wantedAim(stateAfter(plan, []))!;
    expect(none).toMatchObject({ ...plan, roll: 0, from: 'plan' });
    const held = [{ azimuth: 52, inclination: 31, roll: 0 }];
    expect(wantedAim(stateAfter(plan, held, { isFitted: false }))).toMatchObject({
      ...plan,
      roll: 90,
      from: 'plan',
    });
    expect(wantedWords(none, 'mounting')).toBe('');
    expect(wantedWords(none, 'provisional')).toMatch(/^The line is the plan’s/);
  });

  it('goes along the line that was really sighted from its first reading on, at the plan’s roll', () => {
    const first = wantedAim(stateAfter(plan, [{ azimuth: 52, inclination: 31, roll: 4 }]))!;
    expect(first.azimuth).toBeCloseTo(52, 6);
    expect(first.inclination).toBeCloseTo(31, 6);
    expect(first.roll).toBe(90);
    expect(wantedWords(first, 'provisional')).toBe(
      'The line is the one that the reading of this sighting was really taken along: azimuth 52°, 31° up. Aim at the same mark.',
    );
    const second = wantedAim(
      stateAfter(plan, [
        { azimuth: 359.5, inclination: -1, roll: 0 },
        { azimuth: 0.5, inclination: 1, roll: 90 },
      ]),
    )!;
    expect(Math.abs(((second.azimuth + 180) % 360) - 180)).toBeLessThan(1e-6);
    expect(wantedWords(second, 'provisional')).toContain(
      'the 2 readings of this sighting were really taken along: azimuth 0°, level.',
    );
  });

  it.each([
    [90, 84],
    [-90, -86.5],
  ])(
    'of a line planned at %i° and sighted at %f° is that line, with roll as planned',
    (inclination, real) => {
      const vertical = { azimuth: 0, inclination };
      const wanted = wantedAim(stateAfter(vertical, [{ azimuth: 0, inclination: real, roll: 0 }]))!;
      expect(wanted).toMatchObject({ ...vertical, roll: 90 });
      const there = offsetTo(wanted, lookAt({ azimuth: 0, inclination: real, roll: 90 }));
      for (const part of [there.right, there.up, there.apart]) {
        expect(Math.abs(part!)).toBeLessThan(1e-5);
      }
      expect(Math.abs(there.roll!)).toBeLessThan(1);
      expect(offsetTo({ ...vertical, roll: 90 }, lookAt({ azimuth: 0, inclination: real, roll: 90 })).apart).toBeGreaterThan(3); // prettier-ignore
      expect(wantedWords(wanted, 'provisional')).toContain(
        `${inclination > 0 ? '6' : '4'}° from straight ${inclination > 0 ? 'up' : 'down'}`,
      );
    },
  );
});
