/** Days and moments as people write them, in the local zone. */

/** Whether a day is meant, and no moment of it; both as ISO 8601. */
export const isDay = (iso: string): boolean => iso.length === '2031-05-12'.length;

/** The day that a moment belongs to, ISO 8601. */
export function dayOf(moment: Date): string {
  const two = (value: number) => String(value).padStart(2, '0');
  return `${moment.getFullYear()}-${two(moment.getMonth() + 1)}-${two(moment.getDate())}`;
}

/** Made at its first use, and once: making one takes longer than a hundred uses of it. */
const formats = {
  day: made(() => new Intl.DateTimeFormat('en-GB', { dateStyle: 'medium' })),
  moment: made(() => new Intl.DateTimeFormat('en-GB', { dateStyle: 'medium', timeStyle: 'short' })),
};

function made<T>(make: () => T): () => T {
  let it: T | undefined;
  return () => (it ??= make());
}

/** A day, or the day of a moment. */
export function dayWords(iso: string): string {
  // a day that a person named is that day everywhere
  const date = isDay(iso) ? new Date(`${iso}T12:00:00`) : new Date(iso);
  return formats.day().format(date);
}

/** A moment, to the minute. */
export function timeWords(iso: string): string {
  return formats.moment().format(new Date(iso));
}

/** In how many days something came. */
export const inDaysWords = (days: number): string =>
  days < 1 ? 'in a day' : days === 1 ? 'in 1 day' : `in ${days} days`;
