import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import {
  MOST_SHOTS,
  passedOverWords,
  readLegs,
  readShots,
  writeLegs,
  writeShots,
  type FileShot,
} from '../../src/records/course-csv.ts';
import type { CourseLeg } from '../../src/records/course-notes.ts';

const bytes = (text: string) => new TextEncoder().encode(text);
const HEADER = 'instrument,from,to,azimuth,inclination,time\n';

/** A name as a person may give it: blanks around it do not count. */
const name = fc
  .string({ unit: 'binary', minLength: 1, maxLength: 20 })
  .map((text) => text.trim())
  // what no text file holds; a name that is nothing but a comment's mark is still a name
  // eslint-disable-next-line no-control-regex
  .filter((text) => text !== '' && !/[\u0000-\u001f]/.test(text) && text.isWellFormed());
const azimuth = fc.double({ min: 0, max: 359.999, noNaN: true });
const inclination = fc.double({ min: -90, max: 90, noNaN: true });
const ends = fc.tuple(name, name).filter(([from, to]) => from !== to);

const shot: fc.Arbitrary<Omit<FileShot, 'line'>> = fc
  .record({
    instrument: name,
    ends,
    angles: fc.oneof(
      fc.record({ azimuth, inclination }),
      fc.record({ azimuth }),
      fc.record({ inclination }),
    ),
    time: fc.option(
      fc.date({
        min: new Date('2000-01-01'),
        max: new Date('2099-12-31'),
        noInvalidDate: true,
      }),
      { nil: undefined },
    ),
    setAside: fc.option(name, { nil: undefined }),
  })
  .map(({ instrument, ends: [from, to], angles, time, setAside }) => ({
    instrument,
    from,
    to,
    ...angles,
    ...(time && { taken: time.toISOString() }),
    ...(setAside !== undefined && { setAside }),
  }));

/** A written negative zero is read as zero. */
const plain = (value: number) => (value === 0 ? 0 : value);

describe('shots as CSV', () => {
  it('come back as they were written', () => {
    fc.assert(
      fc.property(fc.array(shot, { minLength: 1, maxLength: 8 }), (shots) => {
        const read = readShots(bytes(writeShots(shots)));
        if (!read.ok) throw new Error(read.message);
        const without = read.shots.map(({ line: _, ...each }) => each);
        expect(without).toEqual(
          shots.map((each) => ({
            ...each,
            ...(each.azimuth !== undefined && { azimuth: plain(each.azimuth) }),
            ...(each.inclination !== undefined && { inclination: plain(each.inclination) }),
          })),
        );
      }),
      { numRuns: 60 },
    );
  });

  it('may have comments, other columns and times of any zone, and azimuths turn round', () => {
    const read = readShots(
      bytes(
        '# an afternoon\nto,remark,from,instrument,azimuth,inclination,time,\nB,"windy, cold",A,old one,-10,,2031-05-12T14:30:00+02:00,\n',
      ),
    );
    expect(read).toEqual({
      ok: true,
      shots: [
        {
          line: 3,
          instrument: 'old one',
          from: 'A',
          to: 'B',
          azimuth: 350,
          taken: '2031-05-12T12:30:00.000Z',
        },
      ],
      passedOver: ['remark'],
    });
    expect(passedOverWords(['remark', 'sky'])).toContain('“remark”, “sky” are not known');
  });

  it('may lack one angle where nothing else can be meant by it', () => {
    const read = readShots(bytes('instrument,from,to,inclination\nx,A,B,5\n'));
    expect(read).toMatchObject({ ok: true, shots: [{ inclination: 5 }], passedOver: [] });
  });

  it.each([
    ['', 'empty', undefined, undefined],
    [HEADER, 'empty', 1, undefined],
    ['instrument;from;to;azimuth\nx;A;B;1\n', 'separator', 1, 'instrument'],
    ['instrument,from,azimuth\nx,A,1\n', 'missing_column', 1, 'to'],
    ['instrument,from,to,to\nx,A,B,B\n', 'duplicate_column', 1, 'to'],
    ['instrument,from,to,azimut,inclination\nx,A,B,12,5\n', 'unknown_column', 1, 'azimut'],
    ['instrument,from,to,azimuth,incl,\nx,A,B,12,5,\n', 'unknown_column', 1, 'incl'],
    ['instrument,from,to,Azimuth,dip\nx,A,B,12,5\n', 'unknown_column', 1, 'Azimuth'],
    ['instrument,from,to,time\nx,A,B,\n', 'missing_column', 1, 'azimuth'],
    [`${HEADER}x,A,B,12,5,5,\n`, 'ragged_row', 2, 'time'],
    [`${HEADER}x,A,B,1,2,\nx,A,B,"12,5",5,\n`, 'decimal_comma', 3, 'azimuth'],
    [`${HEADER}x,A,B,NaN,5,\n`, 'not_a_number', 2, 'azimuth'],
    [`${HEADER}x,A,B,12,91,\n`, 'out_of_range', 2, 'inclination'],
    [`${HEADER}x,A,B,,,\n`, 'no_angle', 2, 'azimuth'],
    [`${HEADER}x,A,A,12,5,\n`, 'same_station', 2, 'to'],
    [`${HEADER},A,B,12,5,\n`, 'blank', 2, 'instrument'],
    [`${HEADER}x,A,B,12,5,2031-02-30T10:00:00Z\n`, 'not_a_time', 2, 'time'],
    [`${HEADER}x,A,B,12,5,2031-05-12 10:00\n`, 'not_a_time', 2, 'time'],
    [`${HEADER}x,"A,B,12,5,\n`, 'quote', 2, '2'],
    [`${HEADER}x,${'A'.repeat(101)},B,12,5,\n`, 'too_long', 2, 'from'],
    [`${HEADER}${'x,A,B,1,1,\n'.repeat(MOST_SHOTS + 1)}`, 'too_many', MOST_SHOTS + 2, undefined],
  ])('a file of shots is refused by line and field: $1 in line $2', (text, cause, line, field) => {
    const read = readShots(bytes(text));
    expect(read).toMatchObject({
      ok: false,
      cause,
      ...(line !== undefined && { line }),
      ...(field !== undefined && { field }),
    });
    expect(read.ok || read.message).toContain('Nothing was changed');
  });

  it('are refused as a binary file, whatever is in it, and never otherwise than by a fault', () => {
    expect(readShots(new Uint8Array([0x50, 0x4b, 3, 4]))).toMatchObject({ cause: 'not_text' });
    fc.assert(
      fc.property(fc.uint8Array({ maxLength: 200 }), (any) => {
        const read = readShots(any);
        expect(read.ok || read.message.length).not.toBe(0);
      }),
      { numRuns: 200 },
    );
  });
});

const leg: fc.Arbitrary<CourseLeg> = fc
  .record({
    ends,
    azimuth: fc.option(
      fc.record({
        degrees: azimuth.map(plain),
        sigma: fc.double({ min: 0.001, max: 45, noNaN: true }),
        north: fc.constantFrom('magnetic' as const, 'true' as const, 'grid' as const),
      }),
      { nil: undefined },
    ),
    inclination: fc.option(
      fc.record({
        degrees: inclination.map(plain),
        sigma: fc.double({ min: 0.001, max: 45, noNaN: true }),
      }),
      { nil: undefined },
    ),
  })
  .map(({ ends: [from, to], azimuth, inclination }) => ({
    from,
    to,
    ...(azimuth && { azimuth }),
    ...(inclination && { inclination }),
  }));

describe('legs as CSV', () => {
  it('name the columns that were passed over', () => {
    const read = readLegs(bytes('from,to,azimut\nA,B,12\n'));
    expect(read).toMatchObject({
      ok: true,
      legs: [{ from: 'A', to: 'B' }],
      passedOver: ['azimut'],
    });
  });

  it('come back as they were written', () => {
    const each = fc.uniqueArray(leg, {
      minLength: 1,
      maxLength: 8,
      selector: ({ from, to }) => JSON.stringify([from, to].sort()),
    });
    fc.assert(
      fc.property(each, (legs) => {
        const read = readLegs(bytes(writeLegs(legs)));
        expect(read.ok ? read.legs : read.message).toEqual(legs);
      }),
      { numRuns: 60 },
    );
  });

  it.each([
    ['from,to\nA,B\nB,A\n', 'duplicate_leg', 3, 'to'],
    ['from,to,azimuth,azimuth_sigma\nA,B,12,0.1\n', 'not_a_north', 2, 'north'],
    ['from,to,azimuth,azimuth_sigma,north\nA,B,12,,true\n', 'blank', 2, 'azimuth_sigma'],
  ])('a file of legs is refused by line and field: $1 in line $2', (text, cause, line, field) => {
    expect(readLegs(bytes(text))).toMatchObject({ ok: false, cause, line, field });
  });
});
