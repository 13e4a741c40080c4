import { expect, it } from 'vitest';
import { randomStream, type Random } from '../../../firmware-sim/random.ts';
import { attitudeRotation, inBody, type Triple } from '../../../firmware-sim/world.ts';
import type { CheckTerms, Landings } from '../../../src/records/entries.ts';
import type { CheckPlace } from '../../../src/steps/checks/check-places.ts';
import { MadeUpInstrument, verdictWith } from './made-up-instrument.ts';

/** The pointer beam against the sight, on instruments whose beam stands as is known. */

/** Degrees, and millimetres at the instrument: to its right, and upward. */
interface Askew {
  angle: { right: number; up: number };
  offset: { right: number; up: number };
}

const ROLLS = [0, 90, 180, 270] as const;
const tan = (degrees: number) => Math.tan((degrees * Math.PI) / 180);

/** Where a beam meets a wall to the north while the sight, level, meets it at nought: by the simulator's own rotations. */
function landings(
  { angle, offset }: Askew,
  distance: number,
  off: () => number = () => 0,
): Landings {
  const landed = ROLLS.map((roll) => {
    const rotation = attitudeRotation({ azimuth: 0, inclination: 0, roll });
    const toWorld = (body: Triple): Triple => {
      const along = (axis: Triple) => {
        const [x, y, z] = inBody(rotation, axis);
        return x * body[0] + y * body[1] + z * body[2];
      };
      return [along([1, 0, 0]), along([0, 1, 0]), along([0, 0, 1])];
    };
    // body axes: forward, right, down
    const from = toWorld([0, offset.right, -offset.up]);
    const way = toWorld([1, tan(angle.right), -tan(angle.up)]);
    const reach = (1000 * distance) / way[0];
    return {
      right: from[1] + reach * way[1] + off(),
      up: -(from[2] + reach * way[2]) + off(),
    };
  });
  return { distance, landed };
}

const termsOf = (askew: Askew, noise: (mm: number) => number = () => 0, readTo = 0) => ({
  check: 'beam' as const,
  near: landings(askew, 2, () => noise(1)),
  far: landings(askew, 10, () => noise(2)),
  readTo,
  each: 2,
});

const ASKEW: Askew = { angle: { right: 0.35, up: -0.2 }, offset: { right: 12, up: 30 } };
const QUIET = { aim: 0, chip: 0 };
const named = (figures: ReturnType<typeof verdictWith>['figures'], name: string) =>
  figures.filter((each) => each.name.includes(name)).map(({ value }) => value);

/** Aims of an instrument that was calibrated along its beam: what is sighted then stands beside the axis. */
const alongBeam =
  ({ angle, offset }: Askew) =>
  ({ aim, group }: CheckPlace) => {
    const held = group.startsWith('sight') ? landings({ angle, offset }, 10).landed : [];
    const { right, up } = held[ROLLS.findIndex((roll) => roll === aim.roll)] ?? { right: 0, up: 0 };
    const angleOf = (mm: number) => (Math.atan(mm / 10_000) * 180) / Math.PI;
    return { azimuth: 20 + angleOf(right), inclination: angleOf(up), roll: aim.roll };
  };

it('gives back how the beam stands, as an angle and as a distance at the instrument', () => {
  const terms = termsOf(ASKEW);
  const instrument = new MadeUpInstrument(1, { errs: false }, QUIET);
  const { figures, verdict, warnings } = verdictWith(terms, instrument.readAll(terms));
  const [right, up] = named(figures, 'far away');
  expect(right).toBeCloseTo(0.35, 4);
  expect(up).toBeCloseTo(-0.2, 4);
  const [aside, above] = named(figures, 'at the instrument');
  expect(aside).toBeCloseTo(12, 6);
  expect(above).toBeCloseTo(30, 6);
  // 12 mm over 10 m are 0.069°, 30 mm 0.172°
  const [atTen, upAtTen] = named(figures, 'at 10 m');
  expect(atTen).toBeCloseTo(0.35 + 0.0688, 3);
  expect(upAtTen).toBeCloseTo(-0.2 + 0.1719, 3);
  expect(verdict).toBe('passed');
  expect(warnings).toEqual([]);
});

it('says which of the two was calibrated, and what is off along the other', () => {
  const far: Askew = { ...ASKEW, angle: { right: 0.9, up: -0.6 } };
  const terms = termsOf(far, undefined, 1);
  const sight = verdictWith(terms, new MadeUpInstrument(2).readAll(terms));
  expect(sight.found![0]).toContain('The sight was calibrated');
  expect(sight.found![1]).toContain('along the sight and aimed with the beam');
  // the landings were read to the millimetre at 10 m, and nothing is known to nothing
  expect(sight.found![1]).toContain('× cos inclination 0.97° ± less than 0.01° too small');
  expect(sight.found![1]).toContain('inclination 0.43° ± less than 0.01° too great');
  const beam = verdictWith(terms, new MadeUpInstrument(3).readAll(terms, alongBeam(far)));
  expect(beam.found![0]).toContain('The beam was calibrated');
  expect(beam.found![1]).toContain('× cos inclination 0.97° ± less than 0.01° too great');
  for (const { warnings } of [sight, beam]) expect(warnings).toEqual([]);
});

it('shows by its own readings that azimuths along the beam are too small where it stands to the right', () => {
  // what the sentence says, against the board's angles themselves
  const far: Askew = { angle: { right: 0.9, up: 0 }, offset: { right: 0, up: 0 } };
  const terms = termsOf(far);
  const readings = new MadeUpInstrument(4, { errs: false }, QUIET).readAll(terms);
  const azimuth = (place: string) => {
    const { acc, mag } = readings.get(place)!; // level and upright
    return (Math.atan2(-mag[1], mag[0]) * 180) / Math.PI - Number(Math.abs(acc[1]) > 1);
  };
  expect(azimuth('beam 0° 1') - azimuth('sight 0° 1')).toBeCloseTo(-0.9, 4);
});

it('says that neither was, where both stand off the axis', () => {
  const terms = termsOf(ASKEW);
  const readings = new MadeUpInstrument(5).readAll(terms, (place) => {
    const { azimuth, inclination, roll } = place.aim;
    // as if the sight stood one degree above what was calibrated, and the beam with it
    const turned = (roll * Math.PI) / 180;
    return {
      azimuth: azimuth - Math.sin(turned),
      inclination: inclination - Math.cos(turned),
      roll,
    };
  });
  expect(verdictWith(terms, readings).found![0]).toContain('Neither sight nor beam');
});

it('notices a right that was typed for a left', () => {
  const far: Askew = { ...ASKEW, angle: { right: 0.9, up: -0.6 } };
  const terms = termsOf(far, undefined, 1);
  const readings = new MadeUpInstrument(6).readAll(terms);
  const mirrored = (each: Landings): Landings => ({
    ...each,
    landed: each.landed.map(({ right, up }) => ({ right: -right, up })),
  });
  const wrong: CheckTerms = { ...terms, near: mirrored(terms.near), far: mirrored(terms.far) };
  expect(verdictWith(wrong, readings).warnings.join()).toContain('a right typed for a left');
});

it('holds the truth in its intervals in about 19 of 20 seeded trials', () => {
  // 95 % of 400 are 380, with a standard deviation of 4.4: three of them either way
  const random: Random = randomStream(7, 'beams');
  const held = { far: 0, angle: 0, offset: 0, sight: 0 };
  for (let seed = 0; seed < 400; seed++) {
    const some = (size: number) => ({
      right: random.between(-size, size),
      up: random.between(-size, size),
    });
    const askew = { angle: some(0.5), offset: some(30) };
    const terms = termsOf(askew, (mm) => mm * random.normal());
    // the hand aims where the beam truly lands, not where somebody read it
    const truly = termsOf(askew);
    const { figures } = verdictWith(terms, new MadeUpInstrument(seed).readAll(truly));
    const within = (name: string, truth: number) => {
      const { value, half } = figures.find((each) => each.name === name)!;
      return Number(Math.abs(value - truth) <= half);
    };
    const { angle, offset } = askew;
    const atTen = (Math.atan(tan(angle.up) + offset.up / 10_000) * 180) / Math.PI;
    held.far += within('Beam from sight on a mark at 10 m, upward', atTen);
    held.angle += within('Beam from sight far away, to the right', angle.right);
    held.offset += within('Beam from sight at the instrument, upward', offset.up);
    held.sight += within('Sight from the calibrated axis, to the right', 0);
  }
  for (const count of Object.values(held)) {
    expect(count).toBeGreaterThanOrEqual(367);
    expect(count).toBeLessThanOrEqual(393);
  }
});
