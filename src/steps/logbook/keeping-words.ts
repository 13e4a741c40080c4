import { inDaysWords, timeWords } from '../time-words.ts';
import type { KeepingState } from './keeping.ts';

/** What is said of how safely the logbook lies here. */

export interface KeepingWords {
  keeps: string;
  /** Asks the browser to keep it for good. */
  offer?: string;
  room?: string;
  takenOut: string;
  /** It is time to take it out. */
  reminder?: string;
}

export function keepingWords(state: KeepingState): KeepingWords {
  const { keeps, asked, room, takenOut, due } = state;
  return {
    ...keepsWords(keeps, asked),
    ...(room && {
      room: `It takes ${sizeWords(room.used)} with the page itself; ${sizeWords(room.free)} more may be used.`,
    }),
    takenOut: takenOut
      ? `The whole logbook was last taken out on ${timeWords(takenOut.time)}, with ${count(takenOut.entries)}.`
      : 'The whole logbook was never taken out.',
    ...(due && {
      reminder: `${count(due.entries, 'new ')} came ${inDaysWords(due.days)}, and the browser may clear them. Take the whole logbook out, so that it lies in a second place.`,
    }),
  };
}

function keepsWords(
  keeps: KeepingState['keeps'],
  asked: string | undefined,
): Pick<KeepingWords, 'keeps' | 'offer'> {
  switch (keeps) {
    case undefined:
      return { keeps: 'Asking the browser how long it keeps it…' };
    case 'for good':
      return {
        keeps:
          'Kept for good: the browser clears it only where a person does so, by clearing what this site has stored.',
      };
    case 'may clear':
      return {
        keeps: `The browser may clear it, when this device runs short of room or this page was not used for long. ${
          asked === undefined
            ? 'It was not asked yet to keep it for good.'
            : `It was asked to keep it for good on ${timeWords(asked)}, and did not agree.`
        }`,
        offer: 'Ask the browser to keep it for good',
      };
    case 'cannot tell':
      return {
        keeps:
          'This browser does not say how long it keeps it, and cannot be asked to keep it for good. It may clear it at any time: take it out now and then.',
      };
  }
}

/** What is said for as long as anything is only in memory. */
export function heldWords({
  held,
  isHolding,
}: KeepingState): { heading: string; words: string; offer?: string } | undefined {
  if (!isHolding) return undefined;
  const until =
    'Free some space on this device: as soon as there is room it is written by itself, with the next thing that happens. Until then nothing is changed on a board that needs the logbook first.';
  if (held === 0) {
    return {
      heading: 'No room left on this device',
      words: `What happened is in the logbook. Which boards are at the bench, and what simulated boards remember, is only in the memory of this page: closing it loses that. ${until}`,
    };
  }
  return {
    heading: `No room left on this device: ${count(held)} only in the memory of this page`,
    words: `Closing or reloading this page loses them. Download them now; the file can be brought in later. You can go on taking readings and judging them. ${until}`,
    offer: 'Download what is not on disk',
  };
}

const count = (entries: number, what = '') =>
  entries === 1 ? `1 ${what}entry` : `${entries} ${what}entries`;

/** Bytes in the largest unit that leaves a figure of one or more; decimal units, as devices are sold. */
export function sizeWords(bytes: number): string {
  const units = ['bytes', 'kB', 'MB', 'GB', 'TB'];
  let value = bytes;
  let unit = 0;
  while (value >= 1000 && unit < units.length - 1) {
    value /= 1000;
    unit++;
  }
  return `${unit === 0 || value >= 100 ? Math.round(value) : value.toFixed(1)} ${units[unit]}`;
}
