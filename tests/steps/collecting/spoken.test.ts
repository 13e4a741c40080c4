import { describe, expect, it } from 'vitest';
import { spoken, spokenNext } from '../../../src/steps/collecting/spoken.ts';

describe('what is said aloud', () => {
  const north = { sighting: '1', azimuth: 0, inclination: 0, rolls: [0, 90] };
  const corner = { sighting: '2', azimuth: 45, inclination: 35.26, rolls: [0] };

  it('names the line only where it is another than before', () => {
    const first = { sighting: north, roll: 0 };
    const second = { sighting: north, roll: 90 };
    expect(spokenNext(first, undefined)).toBe('north, level, upright');
    expect(spokenNext(second, first)).toBe('rolled a quarter right');
    expect(spokenNext({ sighting: corner, roll: 0 }, second)).toBe('north‑east, 35° up, upright');
  });

  it('has no sign that a voice does not know', () => {
    expect(spoken('Next: north‑east, 35° up; ±0.5° of 360 °.')).toBe(
      'Next: north-east, 35 degrees up; plus or minus 0.5 degrees of 360  degrees.',
    );
  });
});
