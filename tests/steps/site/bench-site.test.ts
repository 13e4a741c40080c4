import { expect, it } from 'vitest';
import { BenchInProcess } from '../bench-in-process.ts';

const PLACE = { latitude: 47.5, longitude: 8.25, height: 430 };

it('keeps the place for the bench across reloads, and forgets it when asked', async () => {
  const bench = await BenchInProcess.opened();
  await bench.bench.site.keepPlace(PLACE, 'typed');
  await bench.reload();
  expect(bench.bench.site.kept).toEqual({});
  await bench.bench.site.read();
  expect(bench.bench.site.kept).toEqual({ place: PLACE, from: 'typed' });
  await bench.bench.site.forgetPlace();
  await bench.reload();
  await bench.bench.site.read();
  expect(bench.bench.site.kept).toEqual({});
});

it('changes one part of the site before the rest was read, and loses nothing of that', async () => {
  const bench = await BenchInProcess.opened();
  await bench.bench.site.keepPlace(PLACE, 'browser');
  await bench.reload();
  await bench.bench.site.keepCoefficients('some text');
  expect(bench.bench.site.kept).toEqual({
    place: PLACE,
    from: 'browser',
    coefficients: 'some text',
  });
});

it('loses neither of two changes made at once', async () => {
  const bench = await BenchInProcess.opened();
  const { site } = bench.bench;
  await Promise.all([site.keepPlace(PLACE, 'typed'), site.keepCoefficients('some text')]);
  await bench.reload();
  await bench.bench.site.read();
  const both = { place: PLACE, from: 'typed', coefficients: 'some text' };
  expect(bench.bench.site.kept).toEqual(both);
});

it('keeps nothing while another page has the bench', async () => {
  const first = await BenchInProcess.opened();
  const second = await first.anotherPage({ isAlone: false });
  await expect(second.bench.site.keepPlace(PLACE, 'typed')).rejects.toThrow();
  expect(second.bench.site.kept).toEqual({});
});

it('can be read again after it could not be', async () => {
  const bench = await BenchInProcess.opened();
  await bench.bench.site.keepPlace(PLACE, 'typed');
  await bench.reload();
  bench.isReadable = false;
  await expect(bench.bench.site.read()).rejects.toThrow('It cannot be read');
  bench.isReadable = true;
  await bench.bench.site.read();
  expect(bench.bench.site.kept.place).toEqual(PLACE);
});
