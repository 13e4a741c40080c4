import { expect, it } from 'vitest';
import { sendingWords } from '../../../src/steps/care/update-words.ts';
import {
  clockWords,
  limitsWords,
  memoryWords,
  updateWords,
} from '../../../src/steps/care/care-words.ts';
import type { Setting } from '../../../src/protocol/care-messages.ts';
import { EMPTY_HISTORY } from '../../../src/steps/calibration-state.ts';
import type { PlaceState } from '../../../src/steps/place-state.ts';

const SECOND = 1000;
const DAY = 86_400;
const SET = 1_900_000_000;
const isoOf = (utc: number) => new Date(utc * SECOND).toISOString();

/** A place whose board's clock was set, and says something so long after. */
const withClock = (over: number, ahead: number): PlaceState => ({
  link: { state: 'linked' },
  said: '',
  care: {
    serial: '',
    wanted: new Map(),
    clock: { said: SET + over + ahead, at: isoOf(SET + over) },
  },
  history: { ...EMPTY_HISTORY, care: { clockSet: { utc: SET, time: isoOf(SET) } } },
});

it('says how far a clock is off, and how much that is in a day where it is long enough', () => {
  expect(clockWords(withClock(10 * DAY, 30))).toBe(
    'Its clock is 30 seconds fast. It was set 10 days ago: a drift of 3.0 seconds a day.',
  );
  expect(clockWords(withClock(2 * DAY, -300))).toBe(
    'Its clock is 5 minutes slow. It was set 2 days ago: a drift of -150.0 seconds a day.',
  );
  expect(clockWords(withClock(600, 1))).toBe(
    'Its clock goes with this machine’s, to a second. It was set 10 minutes ago.',
  );
  expect(clockWords({ ...withClock(1, 0), care: { serial: '', wanted: new Map() } })).toBe(
    undefined,
  );
});

it('counts what of a memory the logbook lacks', () => {
  const memory = { first: 3, last: 6, count: 4, room: 10, dropped: 0 };
  const state = withClock(1, 0);
  const { lacking, facts } = memoryWords({
    ...state,
    care: { ...state.care!, memory },
    history: { ...state.history, known: new Set([1, 2, 3, 5]) },
  });
  expect(lacking).toBe(2);
  expect(facts.map(({ value }) => value)).toEqual(['4 readings, 3 to 6', '10', 'all but 2', '4']);
});

it('says what a number may be, with its unit', () => {
  const setting = { min: '0', max: '120', unit: 'min' } as Setting;
  expect(limitsWords(setting)).toBe('0 min to 120 min');
  expect(limitsWords({ min: '-1' } as Setting)).toBe('-1 or more');
  expect(limitsWords({ max: '5' } as Setting)).toBe('5 or less');
  expect(limitsWords({} as Setting)).toBeUndefined();
});

it('tells the time left in seconds, then in minutes, and not before anything was sent', () => {
  expect(sendingWords(NaN)).toBe('Sending the firmware');
  expect(sendingWords(900)).toBe('Sending the firmware, about 1 second left');
  expect(sendingWords(30_500)).toBe('Sending the firmware, about 31 seconds left');
  expect(sendingWords(300_000)).toBe('Sending the firmware, about 5 minutes left');
});

it('shows firmware that was confirmed with something left otherwise as a thing to watch', () => {
  const state = withClock(1, 0);
  const update = {
    ...{
      from: '1.0',
      to: '1.1',
      source: 'file' as const,
      size: 9,
      crc: '00000000',
      trialSeconds: 99,
    },
    begun: isoOf(SET),
    phase: 'finished',
    words: ['“Owner” was Club; that is no longer a setting of this board.'],
  } as const;
  const shown = updateWords({ ...state, history: { ...state.history, care: { update } } })!;
  expect(shown.shape).toBe('watch');
  expect(shown.words).toContain(update.words[0]);
  expect(shown.words.at(-1)).toContain('calibrate again');
});
