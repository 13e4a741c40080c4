import { afterEach, expect, it, vi } from 'vitest';
import { askBrowser, outOfRange } from '../../../src/steps/site/here.ts';

type Locator = Pick<Geolocation, 'getCurrentPosition'>;

const knowing = (coords: Partial<GeolocationCoordinates>): Locator => ({
  getCurrentPosition: (done) =>
    done({ coords: { altitude: null, accuracy: 20, ...coords } } as GeolocationPosition),
});
const failing = (code: number): Locator => ({
  getCurrentPosition: (_, failed) => failed!({ code } as GeolocationPositionError),
});
const THERE = { latitude: 47.123456, longitude: -8.987654 };

afterEach(() => {
  vi.useRealTimers();
});

it('takes the place to a hundred metres, no more, with its height', async () => {
  expect(await askBrowser(knowing({ ...THERE, altitude: 431.7 }), true)).toMatchObject({
    ok: true,
    place: { latitude: 47.123, longitude: -8.988, height: 432 },
  });
});

it('keeps the height that was known where the browser knows none, and says so', async () => {
  const located = await askBrowser(knowing(THERE), true, 250);
  expect(located).toMatchObject({ ok: true, place: { height: 250 } });
  expect(located.ok && located.said).toContain('stays at 250 m');
});

it.each([
  [1, /no leave/],
  [2, /does not know where this is/],
  [3, /no answer in time/],
])('says what to do where the browser answers with failure %d', async (code, words) => {
  const located = await askBrowser(failing(code), true);
  if (located.ok) throw new Error('it was located');
  expect(located.message).toMatch(words);
  expect(located.message).toContain('Type the place instead');
});

it('says so where the browser’s question is never answered', async () => {
  vi.useFakeTimers();
  const asked = askBrowser({ getCurrentPosition: () => {} }, true);
  await vi.advanceTimersByTimeAsync(90_000);
  expect(await asked).toMatchObject({ ok: false, message: expect.stringMatching(/still stands/) });
});

it('asks nothing on a page that came in an insecure way, or of a browser that cannot tell', async () => {
  const getCurrentPosition = vi.fn();
  expect(await askBrowser({ getCurrentPosition }, false)).toMatchObject({
    ok: false,
    message: expect.stringContaining('https'),
  });
  expect(getCurrentPosition).not.toHaveBeenCalled();
  expect(await askBrowser(undefined, true)).toMatchObject({ ok: false });
});

it.each([
  [{ latitude: NaN, longitude: 0, height: 0 }, 'latitude'],
  [{ latitude: 91, longitude: 0, height: 0 }, 'latitude'],
  [{ latitude: 0, longitude: 181, height: 0 }, 'longitude'],
  [{ latitude: 0, longitude: 0, height: 10_000 }, 'height'],
])('names the part of %j that no place has', async (place, part) => {
  expect(outOfRange(place)).toContain(`The ${part} lies between`);
  expect((await askBrowser(knowing({ ...place, altitude: place.height }), true)).ok).toBe(false);
});
