import { numbersFrom } from '../../protocol/board.ts';
import type { ImageReport } from '../../protocol/care-messages.ts';
import type { FirmwareImage } from '../../protocol/firmware-image.ts';
import type { Fact } from '../board-words.ts';
import type { PlaceState } from '../place-state.ts';
import { timeWords } from '../time-words.ts';
import { openUpdate, type UpdateState } from './care-history.ts';
import { careOf, type OfferedSnapshot } from './care-state.ts';
import { clockDrift } from './naming.ts';
import { linesOf, type SheetLine } from './settings-sheet.ts';

/** The care of a board, in words and figures for the screen. */

const counted = (count: number, one: string, many: string) =>
  count === 1 ? `one ${one}` : `${count} ${many}`;

/** What is in its memory, as it was asked last. */
export function memoryWords(state: PlaceState): { facts: Fact[]; lacking: number; held: number } {
  const { history } = state;
  const memory = careOf(state).memory ?? history.memory;
  if (!memory) return { facts: [], lacking: 0, held: 0 };
  const { first, last, count, room, dropped } = memory;
  const numbers = count === 0 ? [] : [...numbersFrom(first, last)];
  const lacking = numbers.filter((number) => !history.known.has(number)).length;
  const facts: Fact[] = [
    {
      name: 'When it was last asked, it held',
      value:
        count === 0 ? 'nothing' : `${counted(count, 'reading', 'readings')}, ${first} to ${last}`,
    },
    { name: 'Room for more', value: String(room) },
    {
      name: 'Of those, in the logbook',
      value: count === 0 ? 'there is none' : lacking === 0 ? 'all' : `all but ${lacking}`,
    },
    ...(dropped > 0 ? [{ name: 'Fell out before they were fetched', value: String(dropped) }] : []),
    { name: 'In the logbook altogether', value: String(history.known.size) },
  ];
  return { facts, lacking, held: count };
}

/** Every setting as the form shows it; none where the board has no settings. */
export function settingLines(state: PlaceState): SheetLine[] {
  const { settings } = state.history.care;
  return settings ? linesOf({ ...settings, changes: careOf(state).wanted }) : [];
}

/** A value with its unit, as it is read aloud. */
export const settingText = (value: string, unit?: string): string =>
  value === '' ? 'empty' : unit === undefined ? value : `${value} ${unit}`;

/** What a number may be, in words; nothing where all may be. */
export function limitsWords({ min, max, unit }: SheetLine['setting']): string | undefined {
  const [from, to] = [min, max].map((limit) =>
    limit === undefined ? undefined : settingText(limit, unit),
  );
  if (from !== undefined && to !== undefined) return `${from} to ${to}`;
  if (from !== undefined) return `${from} or more`;
  return to === undefined ? undefined : `${to} or less`;
}

export const snapshotWords = (
  { serial, name, revision, time }: OfferedSnapshot,
  own: string,
): string =>
  serial === own
    ? `Revision ${revision}, read ${timeWords(time)}`
    : `Of ${name ? `${name}, ${serial}` : serial}, read ${timeWords(time)}`;

/** What the board's clock says, and how far it has drifted; nothing where it has none. */
export function clockWords(state: PlaceState): string | undefined {
  const { clock } = careOf(state);
  if (!clock) return undefined;
  const drift = clockDrift(clock, state.history.care.clockSet);
  if (!drift) return 'Its clock was not set since it started.';
  const { ahead, over } = drift;
  const off =
    Math.abs(ahead) <= 1
      ? 'Its clock goes with this machine’s, to a second.'
      : `Its clock is ${durationWords(Math.abs(ahead))} ${ahead > 0 ? 'fast' : 'slow'}.`;
  if (over === undefined) return `${off} When it was last set is not known.`;
  if (over < 60) return `${off} It was set just now.`;
  if (over < 3600) return `${off} It was set ${durationWords(over)} ago.`;
  const day = (ahead / over) * 86_400;
  return `${off} It was set ${durationWords(over)} ago: a drift of ${day.toFixed(1)} seconds a day.`;
}

function durationWords(seconds: number): string {
  const [size, one, many] = (
    [
      [86_400, 'day', 'days'],
      [3600, 'hour', 'hours'],
      [60, 'minute', 'minutes'],
      [1, 'second', 'seconds'],
    ] as const
  ).find(([size]) => seconds >= 2 * size) ?? [1, 'second', 'seconds'];
  return counted(Math.round(seconds / size), one, many);
}

/** Said wherever a pointer light is switched on. */
export const EYE_SAFETY =
  'A pointer light may be a laser, and a laser must never meet an eye: nobody’s, by no mirror and no polished steel. Its label names its class as IEC 60825-1 has it: class 1 does no harm as it is meant to be used; class 2 (visible, at most 1 milliwatt) counts on you to look away; 3R (visible, at most 5 milliwatts) may harm an eye, and 3B and 4 do. Local rules and qualified people decide where it may be used.';

/** What is in its two slots for firmware. */
export function firmwareFacts({
  running,
  trial,
  state,
  spare,
  size,
  written,
  key,
}: ImageReport): Fact[] {
  const other =
    state === 'empty'
      ? 'empty'
      : state === 'partial'
        ? `${written} of ${size} bytes of firmware that is on its way`
        : state === 'whole'
          ? `firmware of ${size} bytes, not checked yet`
          : `version ${spare}, ${size} bytes`;
  return [
    { name: 'Runs', value: `version ${running}${trial ? ', on trial' : ''}` },
    { name: 'In its spare slot', value: other },
    {
      name: 'Takes',
      value:
        key === undefined ? 'firmware signed or not' : 'only firmware that its maker has signed',
    },
  ];
}

/** What the header of a file of firmware says. */
export function imageFacts(image: FirmwareImage): Fact[] {
  const { hardware, version, size, crc, signature } = image;
  return [
    { name: 'Version', value: version },
    { name: 'For hardware', value: hardware },
    { name: 'Size', value: `${size} bytes` },
    { name: 'Check', value: crc },
    { name: 'Signed', value: signature ? 'yes' : 'no' },
  ];
}

/** The version in the spare slot that could be brought back. */
export function spareVersion({ state, trial, spare, running }: ImageReport): string | undefined {
  return state === 'checked' && !trial && spare !== running ? spare : undefined;
}

/** Where a change of firmware stands. */
export interface UpdateWords {
  shape: 'good' | 'watch' | 'waiting';
  heading: string;
  words: readonly string[];
}

export function updateWords({ history }: PlaceState): UpdateWords | undefined {
  const { update } = history.care;
  if (!update) return undefined;
  const { to, from, words = [], checks = [], begun } = update;
  const when = `Begun ${timeWords(begun)}.`;
  if (openUpdate(history.care)) {
    return { shape: 'waiting', heading: waitingWords(update), words: [when] };
  }
  if (update.phase === 'finished') {
    const seen = checks.length > 0 ? [`Seen before it was confirmed: ${checks.join('; ')}.`] : [];
    return {
      shape: words.length === 0 ? 'good' : 'watch',
      heading: `Version ${to} is confirmed in place of ${from}`,
      words: [
        ...seen,
        ...(words.length === 0
          ? ['Settings and coefficients are as they were: read back and compared.']
          : words),
        'A firmware change is a reason to calibrate again before you rely on it.',
      ],
    };
  }
  const heading =
    update.phase === 'undone' ? `Version ${to} is not in force` : `Version ${to} was given up`;
  return { shape: 'watch', heading, words };
}

function waitingWords({ to, phase }: UpdateState): string {
  switch (phase) {
    case 'sending':
      return `Version ${to} is on its way to the board`;
    case 'restoring':
      return `Version ${to} is confirmed; what it changed is put back at the next link`;
    default:
      return `Version ${to} was started; whether it is healthy is seen at the next link`;
  }
}
