import type { GeoPlace } from './earth-field.ts';

/** Where a person says the bench stands, or the browser does. */

/** What a place must lie within: degrees; metres, from the Dead Sea to what no person stands on. */
export const PLACE_LIMITS = {
  latitude: [-90, 90],
  longitude: [-180, 180],
  height: [-500, 9000],
} as const;

export type Located = { ok: true; place: GeoPlace; said: string } | { ok: false; message: string };

/** How long the browser may take once it has leave, and how long its question may stand; milliseconds. */
const PATIENCE = { browser: 30_000, all: 90_000 };
/** Decimals of a degree that are kept: a hundred metres or less, over which the field changes by a thousandth of a degree. */
const DECIMALS = 3;

/**
 * Asks the browser where this is; it asks the person for leave first. Call it only when a person asked for it.
 *
 * @param geolocation of the browser; absent where it has none
 * @param isSecure whether the page came in a way that lets browsers tell
 * @param known height to keep where the browser does not know it
 */
export async function askBrowser(
  geolocation: Pick<Geolocation, 'getCurrentPosition'> | undefined,
  isSecure: boolean,
  known = 0,
): Promise<Located> {
  if (!isSecure) return failed(INSECURE);
  if (!geolocation) return failed(NONE);
  let timer: ReturnType<typeof setTimeout> | undefined;
  const late = new Promise<Located>((done) => {
    // the browser's own time runs only once it has leave, and its question may be looked away from
    timer = setTimeout(() => done(failed(NO_ANSWER)), PATIENCE.all);
  });
  const asked = new Promise<Located>((done) => {
    geolocation.getCurrentPosition(
      ({ coords }) => done(located(coords, known)),
      ({ code }) => done(failed(code === 1 ? REFUSED : code === 3 ? NO_ANSWER : UNKNOWN)),
      { timeout: PATIENCE.browser, maximumAge: 600_000 },
    );
  });
  try {
    return await Promise.race([asked, late]);
  } finally {
    clearTimeout(timer);
  }
}

type Coordinates = Pick<GeolocationCoordinates, 'latitude' | 'longitude' | 'altitude' | 'accuracy'>;

function located(coords: Coordinates, known: number): Located {
  const rounded = (value: number) => Number(value.toFixed(DECIMALS));
  const { altitude, accuracy } = coords;
  const place: GeoPlace = {
    latitude: rounded(coords.latitude),
    longitude: rounded(coords.longitude),
    height: altitude === null ? known : Math.round(altitude),
  };
  if (outOfRange(place)) return failed(UNKNOWN);
  const height =
    altitude === null
      ? ` It does not know the height, so that stays at ${known} m; a thousand metres change the strength by 0.05 %, and no angle.`
      : '';
  return {
    ok: true,
    place,
    said: `The browser knows this to ${Math.max(1, Math.round(accuracy))} m; it is kept to a hundred.${height}`,
  };
}

/** Which part of a place cannot be; undefined where all of it can. */
export function outOfRange(place: GeoPlace): string | undefined {
  for (const name of ['latitude', 'longitude', 'height'] as const) {
    const [least, most] = PLACE_LIMITS[name];
    if (!(place[name] >= least && place[name] <= most)) {
      return `The ${name} lies between ${least} and ${most}. Nothing was changed.`;
    }
  }
  return undefined;
}

const failed = (why: string): Located => ({ ok: false, message: `${why} ${TYPE_IT}` });
const TYPE_IT =
  'Nothing was changed. Type the place instead: latitude and longitude to a tenth of a degree are near enough.';
const INSECURE =
  'A browser tells where it is only to a page that came over https, or from this machine itself, and this page did not.';
const NONE = 'This browser does not tell where it is.';
const REFUSED =
  'The browser has no leave to tell where this is: it was refused here, or the system, or whoever serves this page, does not allow it.';
const UNKNOWN = 'The browser does not know where this is: it has no signal that would tell it.';
const NO_ANSWER = 'The browser gave no answer in time. Perhaps its question still stands open.';
