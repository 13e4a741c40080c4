import { writeFileSync } from 'node:fs';
import { expect, test } from 'vitest';
import { writeShots } from '../../src/records/course-csv.ts';
import { instrumentName } from '../../src/records/course-notes.ts';
import { shotsOf, SQUARE } from '../steps/course/made-up-shots.ts';
import { cli, scratch } from './command.ts';

const file = scratch();

function shotsFile(): string {
  const shots = shotsOf(SQUARE, ['one', 'two', 'three'], {
    constants: { two: 1.2 },
    stations: { C: 1.5 },
  });
  const path = file('shots.csv');
  const rows = shots.map(({ instrument, leg, way, azimuth, inclination }, i) => ({
    instrument: instrumentName(instrument),
    from: way === 'fore' ? leg.from : leg.to,
    to: way === 'fore' ? leg.to : leg.from,
    azimuth: azimuth!,
    inclination: inclination!,
    ...(i === 3 && { setAside: 'knocked' }),
  }));
  writeFileSync(path, writeShots(rows));
  return path;
}

test('a file of shots is settled: the instrument that is off and the station that turns the field are named', async () => {
  const path = shotsFile();
  const { code, out, err } = await cli('course', path, '--clean', 'A', '--json');
  expect([code, err]).toEqual([0, '']);
  const report = JSON.parse(out) as {
    shots: number;
    setAside: number;
    instruments: { instrument: string; standing: string }[];
    stations: { station: string; disturbs: boolean }[];
  };
  expect(report).toMatchObject({ shots: 71, setAside: 1 });
  const off = report.instruments.filter(({ standing }) => standing === 'off');
  expect(off.map(({ instrument }) => instrument)).toEqual(['two']);
  const turned = report.stations.filter(({ disturbs }) => disturbs);
  expect(turned.map(({ station }) => station)).toEqual(['C']);
});

test('what is wrong is said by line and field, and wrong usage ends with 2', async () => {
  const path = shotsFile();
  const bad = file('bad.csv');
  writeFileSync(bad, 'instrument,from,to,azimuth\none,A,B,"12,5"\n');
  const legs = file('legs.csv');
  writeFileSync(legs, 'from,to,azimuth,azimuth_sigma,north\nA,B,40,0.1,grid\n');
  const [refused, unknown, both, grid] = await Promise.all([
    cli('course', bad),
    cli('course', path, '--clean', 'X'),
    cli('course', path, '--clean', 'A', '--zero-mean'),
    cli('course', path, '--legs', legs),
  ]);
  expect(refused.code).toBe(1);
  expect(refused.err).toContain('line 2, field azimuth');
  expect([unknown.code, both.code, grid.code]).toEqual([2, 2, 2]);
  expect(unknown.err).toContain('no station of the course');
  expect(grid.err).toContain('--convergence is missing');
});

test('columns that are not known are named, and one shot is told as one', async () => {
  const path = file('few.csv');
  writeFileSync(path, 'instrument,from,to,azimuth,inclination,remark\none,A,B,40,6,\n');
  const legs = file('slip.csv');
  writeFileSync(legs, 'from,to,azimut\nA,B,40\n');
  const { code, out } = await cli('course', path, '--legs', legs);
  expect(code).toBe(0);
  expect(out).toContain('1 shot of 1 instrument.');
  expect(out).toContain(`${path}: The column “remark” is not known here`);
  expect(out).toContain(`${legs}: The column “azimut” is not known here`);
});
