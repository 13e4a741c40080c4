/** How many entries and notes a file holds, in words. */

export const capital = (words: string): string => words.charAt(0).toUpperCase() + words.slice(1);

const counted = (count: number, one: string, many: string): string =>
  count === 1 ? `one ${one}` : `${count} ${many}`;

/**
 * What of entries and notes there is, such as "3 entries of one board, and 2 notes".
 *
 * @param of what follows the entries, such as " of one board"
 */
export const countWords = (entries: number, of: string, notes: number): string =>
  [
    ...(entries > 0 || notes === 0 ? [counted(entries, 'entry', 'entries') + of] : []),
    ...(notes > 0 ? [counted(notes, 'note', 'notes')] : []),
  ].join(', and ');
