import { encodedLength } from '../protocol/fields.ts';
import { LIMITS } from '../protocol/messages.ts';
import { isRefusal } from '../steps/refusals.ts';
import { atBoard, Stopped, type LinkOptions, type Workplace } from './board-link.ts';
import { isOfTheLink, linkAgain, throughBreaks } from './link-again.ts';
import { failed, UsageError, type Outcome } from './outcome.ts';

/** A board's name, its clock and its light. */

const LONGEST_NAME = 20;

/** @throws UsageError where no board may have that name */
export function checkName(name: string): void {
  const bytes = new TextEncoder().encode(name).length;
  if (bytes > LONGEST_NAME) {
    throw new UsageError(
      `a name has ${LONGEST_NAME} bytes at most, and “${name}” has ${bytes} (a letter outside ASCII takes 2 to 4)`,
    );
  }
  if (/[\p{Cc}\p{Cf}\p{Cs}\p{Zl}\p{Zp}]/u.test(name)) {
    throw new UsageError('a name holds no control characters');
  }
}

/** `rename`: the name that a keeper gives a board. */
export const rename = (options: LinkOptions & { name: string }): Promise<Outcome> =>
  atBoard(options, (place) => renameAt(place, options.name));

export async function renameAt(place: Workplace, name: string): Promise<Outcome> {
  const board = await place.link();
  const { serial, hardware, firmware, name: before } = board.identity;
  const length = [serial, hardware, firmware, name].reduce((sum, x) => sum + encodedLength(x), 0);
  if (length > LIMITS.identityText) {
    return failed(
      `With this board’s serial number, hardware and firmware a name may take ${LIMITS.identityText - length + encodedLength(name)} characters on the wire, and “${name}” takes ${encodedLength(name)} (a letter outside ASCII takes 6 to 12). Nothing was changed. Give a shorter name.`,
    );
  }
  if (name === before) {
    return { code: 0, out: `The board is called “${name}” already. Nothing was changed.\n` };
  }
  try {
    await board.ask('rename', { to: name });
  } catch (error) {
    if (!isOfTheLink(error)) throw error;
    place.say(`${error.message}\nLooking what the board is called …`);
  }
  // hello tells the name that is kept, whatever became of the answer
  const again = await linkAgain(place, serial);
  if (again.identity.name !== name) {
    return failed(
      `The board is still called “${again.identity.name}”. Nothing else on it was changed. Run the same command again.`,
    );
  }
  const now = name === '' ? 'The board has no name now' : `The board is called “${name}” now`;
  return { code: 0, out: `${now}, read back. ${wasCalled(before)}\n` };
}

const wasCalled = (before: string): string =>
  before === '' ? 'It had no name before.' : `It was called “${before}” before.`;

/** Seconds by which a clock that was just set may differ: it counts whole ones, and an answer takes time. */
const CLOCK_SLACK = 3;

/** `clock`: what the board's clock says beside this machine's, and setting it by that. */
export const clock = (options: LinkOptions & { set: boolean }): Promise<Outcome> =>
  atBoard(options, (place) => clockAt(place, { ...options, now: () => Date.now() }));

/** @param now this machine's time, milliseconds since 1970 */
export async function clockAt(
  place: Workplace,
  { set, now }: { set: boolean; now: () => number },
): Promise<Outcome> {
  const board = await place.link();
  const ours = () => Math.floor(now() / 1000);
  const said = (utc: number): string =>
    utc === 0
      ? 'The board’s clock was never set, or was lost with its power.'
      : `The board’s clock says ${new Date(1000 * utc).toISOString().replace('.000', '')}, ${aheadWords(utc - ours())}.`;
  const read = await unlessUnknown('clock', board.ask('clock', {}, place.signal));
  place.say(said(read.utc));
  if (!set) {
    return { code: 0, out: 'Nothing was changed. “--now” sets it by this machine’s clock.\n' };
  }
  const { value } = await throughBreaks(place, board, async (linked) => {
    await linked.ask('clock', { set: ours() });
    return (await linked.ask('clock', {})).utc;
  });
  if (Math.abs(value - ours()) > CLOCK_SLACK) {
    return failed(
      `${said(value)} It was told to set it by this machine’s, and did not. Nothing else was changed; its firmware is at fault.`,
    );
  }
  return { code: 0, out: `${said(value)} It is set, read back.\n` };
}

function aheadWords(seconds: number): string {
  if (seconds === 0) return 'the same as this machine’s';
  const amount = Math.abs(seconds);
  const size =
    amount < 120
      ? `${amount} s`
      : amount < 7200
        ? `${Math.round(amount / 60)} min`
        : `${(amount / 3600).toFixed(1)} h`;
  return `${size} ${seconds > 0 ? 'ahead of' : 'behind'} this machine’s`;
}

const EYES =
  'Never look into the light, nor point it at anyone’s eyes, directly or by a mirror. What a pointer of its class may do to an eye, IEC 60825-1 and your local rules say.';

/** `light`: the board's pointer light. */
export const light = (options: LinkOptions & { set: 'on' | 'off' }): Promise<Outcome> =>
  atBoard(options, (place) => lightAt(place, options.set));

export async function lightAt(place: Workplace, set: 'on' | 'off'): Promise<Outcome> {
  const board = await place.link();
  if (set === 'on') place.say(EYES);
  const asked = throughBreaks(place, board, (linked) => linked.ask('light', { set }));
  const { value } = await unlessUnknown('light', asked);
  if (value.light !== set) {
    return failed(
      `The board was told to switch its light ${set}, and says that it is ${value.light}. ${EYES} Take it to be on, and switch the board off.`,
    );
  }
  return { code: 0, out: `The light is ${set}.\n` };
}

/** Asks for what a board may not have. @throws Stopped where it has none */
async function unlessUnknown<T>(what: 'clock' | 'light', answer: Promise<T>): Promise<T> {
  try {
    return await answer;
  } catch (error) {
    if (!isRefusal(error, 'unknown_verb')) throw error;
    throw new Stopped(`This board has no ${what}. Nothing was changed.`);
  }
}
