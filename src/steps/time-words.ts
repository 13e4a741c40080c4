/** Days and moments as people write them, in the local zone. */

/** Whether a day is meant, and no moment of it; both as ISO 8601. */
export const isDay = (iso: string): boolean => iso.length === '2031-05-12'.length;

const two = (value: number): string => String(value).padStart(2, '0');

/** The day that a moment belongs to, ISO 8601. */
export function dayOf(moment: Date): string {
  return `${moment.getFullYear()}-${two(moment.getMonth() + 1)}-${two(moment.getDate())}`;
}

const MONTHS = 'Jan Feb Mar Apr May Jun Jul Aug Sept Oct Nov Dec'.split(' ');

/** As 12 May 2031. Put together by hand: the browser's own formats take a fiftieth of a second before the list of boards can show. */
const written = (day: Date): string =>
  `${day.getDate()} ${MONTHS[day.getMonth()]} ${day.getFullYear()}`;

/** A day, or the day of a moment. */
export const dayWords = (iso: string): string =>
  // a day that a person named is that day everywhere
  written(isDay(iso) ? new Date(`${iso}T12:00:00`) : new Date(iso));

/** A moment, to the minute. */
export function timeWords(iso: string): string {
  const moment = new Date(iso);
  return `${written(moment)}, ${two(moment.getHours())}:${two(moment.getMinutes())}`;
}

/** In how many days something came. */
export const inDaysWords = (days: number): string =>
  days < 1 ? 'in a day' : days === 1 ? 'in 1 day' : `in ${days} days`;
