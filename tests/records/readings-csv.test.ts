import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import {
  readingsForFit,
  readReadings,
  writeReadings,
  type FileReading,
  type ReadingsFile,
} from '../../src/records/readings-csv.ts';
import { BAD_FILES } from './bad-readings.ts';

const utf8 = (text: string) => new TextEncoder().encode(text);

function read(text: string): ReadingsFile {
  const file = readReadings(utf8(text));
  if (!file.ok) throw new Error(file.message);
  return file;
}

describe('a bad file is refused', () => {
  for (const { name, bytes, cause, line, field } of BAD_FILES)
    it(name, () => {
      const refused = readReadings(bytes);
      if (refused.ok) throw new Error('it was taken');
      expect(refused.cause).toBe(cause);
      if (line !== undefined) {
        expect(refused.line).toBe(line);
        expect(refused.message).toContain(`line ${line}`);
      }
      if (field !== undefined) {
        expect(refused.field).toBe(field);
        expect(refused.message).toContain(`field ${field}`);
      }
      expect(refused.message).toMatch(/Nothing was changed\.$/);
    });
});

it('names UTF-16 by its name', () => {
  const named = BAD_FILES.filter(({ name }) => name.startsWith('UTF-16')).map(({ bytes }) => {
    const refused = readReadings(bytes);
    return !refused.ok && refused.message;
  });
  expect(named).toHaveLength(3);
  for (const message of named) expect(message).toContain('UTF-16');
});

it('keeps hostile text in a message short and free of control characters', () => {
  const file = readReadings(
    utf8(`id,ax,ay,az,mx,my,mz\n1,"${'\n\u202e'.repeat(5000)}",2,3,4,5,6\n`),
  );
  if (file.ok) throw new Error('it was taken');
  expect(file.message.length).toBeLessThan(300);
  expect(file.message).not.toMatch(/\p{C}/u);
});

it('reads the columns of a full file, scales and comments, whatever their order', () => {
  const file = read(
    [
      '# scale_mag=1100',
      'mz,my,mx,az,ay,ax,note,id,sighting,plan_roll,plan_inclination,plan_azimuth,temp_c',
      '# taken in a field',
      '6,5,4,3,2,1,"calm, dry",r1,S1,90,45,10,20.5',
      '16,15,14,13,12,11,,r2,,,,,',
      '#scale_acc = 16384',
    ].join('\r\n'),
  );
  expect(file).toEqual({
    ok: true,
    scales: { acc: 16384, mag: 1100 },
    comments: [' taken in a field'],
    otherColumns: ['note'],
    readings: [
      {
        id: 'r1',
        sighting: 'S1',
        acc: [1, 2, 3],
        mag: [4, 5, 6],
        temperature: 20.5,
        aim: { azimuth: 10, inclination: 45, roll: 90 },
        others: ['calm, dry'],
      },
      { id: 'r2', acc: [11, 12, 13], mag: [14, 15, 16], others: [''] },
    ],
  });
});

it('takes a byte order mark, blanks around numbers and names, and any usual way to write a number', () => {
  const file = read('\ufeffid, ax,ay ,az,mx,my,mz\nr1, 1 ,+2,.5,-3.,4e2,5E-1\n');
  expect(file.readings[0]).toMatchObject({ acc: [1, 2, 0.5], mag: [-3, 400, 0.5] });
});

it('takes exactly as many readings as it says it does', () => {
  const rows = Array.from({ length: 100_000 }, (_, i) => `${i},1,2,3,4,5,6\n`).join('');
  expect(read(`id,ax,ay,az,mx,my,mz\n${rows}`).readings).toHaveLength(100_000);
});

it('gives the fit radians, and leaves out what is not known', () => {
  const file = read(
    'id,sighting,ax,ay,az,mx,my,mz,plan_azimuth,plan_inclination\n1,A,1,2,3,4,5,6,180,\n2,,1,2,3,4,5,6,,\n',
  );
  expect(readingsForFit(file)).toEqual([
    { id: '1', sighting: 'A', acc: [1, 2, 3], mag: [4, 5, 6], aim: { azimuth: Math.PI } },
    { id: '2', acc: [1, 2, 3], mag: [4, 5, 6] },
  ]);
});

const count = fc.double({ min: -1e12, max: 1e12, noNaN: true });
const triple = fc.tuple(count, count, count);
const ownText = fc
  .string({ unit: fc.constantFrom('a', 'é', '1', ',', '"', '\n', '#', ' ', '漢', ';', '\t') })
  .filter((text) => text.trim() !== '');
const degrees = (most: number) => fc.double({ min: -most, max: most, noNaN: true });
const aim = fc
  .record(
    { azimuth: degrees(360), inclination: degrees(90), roll: degrees(360) },
    { requiredKeys: [] },
  )
  .filter((given) => Object.keys(given).length > 0);

function reading(others: number): fc.Arbitrary<FileReading> {
  return fc.record(
    {
      id: ownText,
      sighting: ownText,
      acc: triple,
      mag: triple,
      temperature: fc.double({ min: -273, max: 1000, noNaN: true }),
      aim,
      others: fc.array(fc.string(), { minLength: others, maxLength: others }),
    },
    { requiredKeys: ['id', 'acc', 'mag', 'others'] },
  );
}

const scale = fc.double({ min: 1e-9, max: 1e12, noNaN: true });
const columns = fc.uniqueArray(
  ownText.map((text) => `x${text}`),
  { maxLength: 3 },
);
const anyFile: fc.Arbitrary<ReadingsFile> = columns.chain((otherColumns) =>
  fc.record(
    {
      scales: fc.record({ acc: scale, mag: scale }),
      comments: fc.array(fc.string().map((text) => text.replace('scale', ''))),
      otherColumns: fc.constant(otherColumns),
      readings: fc.uniqueArray(reading(otherColumns.length), {
        minLength: 1,
        selector: ({ id }) => id,
      }),
    },
    { requiredKeys: ['comments', 'otherColumns', 'readings'] },
  ),
);

it('gives back any readings it wrote, to the last bit', () => {
  fc.assert(
    fc.property(anyFile, (file) => {
      expect(readReadings(utf8(writeReadings(file)))).toEqual({ ok: true, ...file });
    }),
  );
});

it('never throws, whatever the bytes', () => {
  const pieces = fc.constantFrom('id,ax,ay,az,mx,my,mz', '\n', ',', '"', '#', '1', 'é', ';', ' ');
  fc.assert(
    fc.property(
      fc.oneof(fc.uint8Array(), fc.array(pieces).map((parts) => utf8(parts.join('')))), // prettier-ignore
      (bytes) => {
        const file = readReadings(bytes);
        if (!file.ok) expect(file.message).toMatch(/Nothing was changed\.$/);
      },
    ),
    { numRuns: 500 },
  );
});
