import { createInterface } from 'node:readline/promises';
import { sendImage } from '../protocol/board-care.ts';
import type { Board } from '../protocol/board.ts';
import type { ImageReport } from '../protocol/care-messages.ts';
import { ProtocolError } from '../protocol/errors.ts';
import type { FirmwareChange, SavedBoard } from '../records/saved-board.ts';
import { sameReading } from '../steps/calibration-state.ts';
import { judgeFirmware } from '../steps/care/firmware-fit.ts';
import { ailmentOf, healthWords } from '../steps/care/firmware-health.ts';
import { pause } from '../steps/pause.ts';
import { isRefusal } from '../steps/refusals.ts';
import { atBoard, Stopped, type LinkOptions, type Workplace } from './board-link.ts';
import { readBytes } from './files.ts';
import { FirmwareJournal, journalsOf, journalUnderWay } from './firmware-journal.ts';
import { isOfTheLink, throughBreaks } from './link-again.ts';
import { failed, type Outcome } from './outcome.ts';
import { restored } from './restoring.ts';
import { contentOf, saveTo } from './save.ts';

export interface FirmwareOptions {
  /** File of an image. */
  image?: string;
  /** The firmware in the spare slot is to run again. */
  back: boolean;
  /** Where all that is on the board is saved first; a name of its own unless told. */
  save?: string;
  /** A person says, once it was found healthy, whether it stays. */
  confirmByHand: boolean;
}

/** Asks a person; what they typed. */
export type Asking = (question: string) => Promise<string>;

/** `firmware`: what runs on a board and what is spare; other firmware put in place, or the one before put back. */
export const firmware = (options: LinkOptions & FirmwareOptions): Promise<Outcome> =>
  atBoard(options, (place) => firmwareAt(place, options, askHere));

async function askHere(question: string): Promise<string> {
  const terminal = createInterface({ input: process.stdin, output: process.stdout });
  const answer = await terminal.question(question);
  terminal.close();
  return answer;
}

/** How long a board may take to be there again beyond its trial, milliseconds. */
const GRACE_MS = 60_000;
const BETWEEN_MS = 1000;

export async function firmwareAt(
  place: Workplace,
  options: FirmwareOptions,
  ask: Asking,
): Promise<Outcome> {
  const file = options.image === undefined ? undefined : imageIn(options.image);
  const first = await place.link();
  if (!first.identity.capabilities.includes('image')) {
    return failed('This board takes no firmware over the link. Nothing was changed.');
  }
  // a board that was told to start again a moment ago does so now
  const { board, value: report } = await throughBreaks(place, first, async (each) => {
    const said = await each.ask('image', {}, place.signal);
    if (said.state === 'pending') await pause(place.clock, BETWEEN_MS, place.signal);
    return said.state === 'pending' ? each.ask('image', {}, place.signal) : said;
  });
  if (file) return toImage(place, board, report, file, options, ask);
  if (options.back) return goBack(place, board, report, options, ask);
  return { code: 0, out: reportWords(report) };
}

function imageIn(path: string): Uint8Array {
  const file = readBytes(path);
  if (!file.ok) throw new Stopped(file.message);
  return Uint8Array.from(file.bytes);
}

function reportWords(report: ImageReport): string {
  const { running, trial, trialSeconds, slot, key } = report;
  const lines = [
    trial
      ? `The board runs version ${running} on trial: unless it is confirmed within ${trialSeconds} seconds of its start, the board goes back to the one before.`
      : `The board runs version ${running}.`,
    `Spare slot: ${spareWords(report)}.`,
    `An image may have ${slot} bytes${key === undefined ? '' : `, and must be signed for the key ${key}`}.`,
  ];
  return `${lines.join('\n')}\n`;
}

function spareWords({ state, size, crc, written, spare }: ImageReport): string {
  switch (state) {
    case 'empty':
      return 'empty';
    case 'partial':
      return `${written} of the ${size} bytes of an image (CRC-32 ${crc}) are there; the same command that sent them goes on from there`;
    case 'whole':
      return `an image of ${size} bytes (CRC-32 ${crc}), not checked yet`;
    case 'checked':
      return `version ${spare}, ${size} bytes, CRC-32 ${crc}; “--back” makes it run`;
    case 'pending':
      return `version ${spare}, which will run at the next start`;
  }
}

type Plan = Omit<FirmwareChange, 'state'>;

/** A file's firmware onto the board, from wherever that stands. */
async function toImage(
  place: Workplace,
  board: Board,
  report: ImageReport,
  file: Uint8Array,
  options: FirmwareOptions,
  ask: Asking,
): Promise<Outcome> {
  const { running } = report;
  const volt = await supplyOf(board, place);
  const { image, unfit, words } = await judgeFirmware(file, board.identity, report, volt);
  if (!image) return failed(`${unfit.map((each) => each.words).join(' ')} Nothing was changed.`);
  const { version: to, size, crc } = image;
  const plan: Plan = { from: running, to, size, crc, source: 'file' };
  const { last, free } = journalsOf(board.identity.serial, to, options.save);
  if (running === to) return goOn(place, board, report, last, plan, free, options, ask);
  const isPending = report.state === 'pending' && report.crc === crc;
  if (unfit.length > 0 && !isPending) {
    return failed(`${unfit.map((each) => each.words).join('\n')}\nNothing was changed.`);
  }
  place.say(`The board runs version ${running}; ${to} takes its place.`);
  for (const line of words.slice(1)) place.say(line);
  const { board: linked, journal } = await savedFirst(place, board, plan, last, free);
  const sent = isPending ? linked : await send(place, linked, file, to);
  return swap(place, sent, journal, report, options, ask);
}

/** Its supply, volts; nothing where it cannot tell now. */
async function supplyOf(board: Board, { signal }: Workplace): Promise<number | undefined> {
  try {
    return (await board.sense(signal)).volt;
  } catch (error) {
    if (!isRefusal(error, 'saturated')) throw error;
    return undefined;
  }
}

/** The firmware before, out of the spare slot. */
async function goBack(
  place: Workplace,
  board: Board,
  report: ImageReport,
  options: FirmwareOptions,
  ask: Asking,
): Promise<Outcome> {
  const { running, trial, state, spare, size, crc, trialSeconds } = report;
  const { serial } = board.identity;
  const under = journalUnderWay(serial, running, options.save);
  if (under?.change.source === 'spare') {
    return goOn(place, board, report, under, under.change, undefined, options, ask);
  }
  if (trial) {
    place.say(`Version ${running} is on trial: the board is told to start again, which ends it.`);
    return { code: 0, out: await endTrial(place, board, running, trialSeconds, under) };
  }
  if (spare === undefined || size === undefined || crc === undefined || state !== 'checked') {
    return failed(
      `There is no firmware to go back to: spare slot ${spareWords(report)}. Nothing was changed.`,
    );
  }
  const plan: Plan = { from: running, to: spare, size, crc, source: 'spare' };
  const { last, free } = journalsOf(serial, spare, options.save);
  place.say(
    `The board runs version ${running}; version ${spare} takes its place, and ${running} stays in the spare slot.`,
  );
  const { board: linked, journal } = await savedFirst(place, board, plan, last, free);
  return swap(place, linked, journal, report, options, ask);
}

/** The firmware runs already: it is looked at and confirmed, or what it changed is put back, or there is nothing to do. */
async function goOn(
  place: Workplace,
  board: Board,
  report: ImageReport,
  last: FirmwareJournal | undefined,
  plan: Plan,
  free: string | undefined,
  options: FirmwareOptions,
  ask: Asking,
): Promise<Outcome> {
  const { trial, running } = report;
  if (!trial && last?.change.state !== 'begun') {
    return {
      code: 0,
      out: `The board runs version ${running} already, confirmed. Nothing was changed.\n`,
    };
  }
  place.say(`Going on: the board runs version ${running}${trial ? ' on trial' : ''}.`);
  if (last?.change.state === 'begun') return settle(place, board, last, report, options, ask);
  // somebody else started it: until it is confirmed all is on the board as it was
  const before = { ...plan, from: report.spare ?? plan.from };
  const { board: linked, journal } = await savedFirst(place, board, before, last, free);
  return settle(place, linked, journal, report, options, ask);
}

/**
 * Saves what is on the board, unless that was done before and is so still.
 *
 * @throws Stopped where the name that was given has a file that holds something else
 */
async function savedFirst(
  place: Workplace,
  board: Board,
  plan: Plan,
  last: FirmwareJournal | undefined,
  free: string | undefined,
): Promise<{ board: Board; journal: FirmwareJournal }> {
  const change: FirmwareChange = { ...plan, state: 'begun' };
  const { board: linked, value } = await throughBreaks(place, board, async (each) => {
    await each.mode('idle', place.signal); // so that no reading lands after they were saved
    if (last?.change.crc === plan.crc && last.fits(await contentOf(each, place))) {
      place.say(`What is on the board is saved already, in ${last.path}.`);
      return last.change.state === 'begun' ? last : last.now('begun');
    }
    if (free === undefined) {
      throw new Stopped(
        `${last?.path} holds what was on the board at another time, and it has been changed since. Nothing was changed. Give another name with --save.`,
      );
    }
    return new FirmwareJournal(free, await saveTo(free, each, place, change));
  });
  const { unreadable } = value.saved;
  if (unreadable.length > 0) {
    place.say(`${unreadable.length} readings on the board could not be read; firmware leaves them where they are.`); // prettier-ignore
  }
  place.say(
    `After a break at any point run the same command again: it goes on from ${value.path}.`,
  );
  return { board: linked, journal: value };
}

/** Brings the image into the spare slot and has it checked. */
async function send(
  place: Workplace,
  board: Board,
  file: Uint8Array,
  version: string,
): Promise<Board> {
  let written = 0;
  let told = -1;
  const { board: linked, value } = await throughBreaks(
    place,
    board,
    async (each) => {
      const sending = sendImage(each, file, place.signal);
      for (;;) {
        const step = await sending.next();
        if (step.done) return step.value;
        written = step.value;
        const tenth = Math.floor((10 * written) / file.length);
        if (tenth > told) {
          told = tenth;
          place.say(`Sent: ${written} of ${file.length} bytes`);
        }
      }
    },
    () => written,
  );
  if (value !== version) {
    throw new Stopped(
      `The board read version ${value} in the image, and the file says ${version}. It was not started: the board runs what it ran.`,
    );
  }
  place.say(`Checked by the board: version ${version}.`);
  return linked;
}

/** Has the board start the firmware in its spare slot, and goes on when it is there again. */
async function swap(
  place: Workplace,
  board: Board,
  journal: FirmwareJournal,
  report: ImageReport,
  options: FirmwareOptions,
  ask: Asking,
): Promise<Outcome> {
  const { to, crc } = journal.change;
  try {
    if (report.state !== 'pending' || report.crc !== crc) await board.ask('swap', { crc });
  } catch (error) {
    if (isRefusal(error)) journal.now('undone');
    if (!isOfTheLink(error)) throw error;
    place.say(error.message); // whether it starts is seen when it is there again
  }
  place.say(`Waiting for the board to start version ${to} …`);
  const there = await awaited(place, journal, report.trialSeconds);
  return settle(place, there.board, journal, there.report, options, ask);
}

/**
 * The board once it is there again and has started whatever it will.
 *
 * @throws Stopped where it does not come
 */
async function awaited(
  place: Workplace,
  { change: { from }, saved: { identity }, path }: FirmwareJournal,
  trialSeconds: number,
): Promise<{ board: Board; report: ImageReport }> {
  const end = place.clock.now() + 1000 * trialSeconds + GRACE_MS;
  for (;;) {
    try {
      const board = await place.link();
      if (board.identity.serial !== identity.serial) throw anotherBoard(identity, board);
      const report = await board.ask('image', {}, place.signal);
      if (report.state !== 'pending') return { board, report };
    } catch (error) {
      // firmware on trial may say anything: the board goes back by itself if it goes on so
      if (!(error instanceof ProtocolError) || error.cause === 'cancelled') throw error;
      if (place.clock.now() >= end) {
        throw new Stopped(
          `${error.message}\nThe board is not there again. What was on it is saved in ${path}. Switch it off and on: it then runs version ${from}, or says what it runs. Then run the same command again; “rescue” tells what a board that does not answer may have.`,
        );
      }
    }
    await pause(place.clock, BETWEEN_MS, place.signal);
  }
}

const anotherBoard = ({ serial }: SavedBoard['identity'], { identity }: Board) =>
  new Stopped(
    `Board ${serial} was told to start again, and board ${identity.serial} is linked now. Nothing was done to that one. Link the first, and run the same command again.`,
  );

/** From the board as it is after its start to the end, whatever that is. */
async function settle(
  place: Workplace,
  first: Board,
  journal: FirmwareJournal,
  report: ImageReport,
  options: FirmwareOptions,
  ask: Asking,
): Promise<Outcome> {
  const { to } = journal.change;
  let why: string | undefined | 'not known yet' = 'not known yet';
  const { board, value: now } = await throughBreaks(place, first, async (each) => {
    const seen = await each.ask('image', {}, place.signal);
    if (seen.running !== to || !seen.trial) return seen;
    if (why === 'not known yet') why = await reasonAgainst(place, each, journal, options, ask);
    if (why !== undefined) return seen;
    await each.ask('confirm', { firmware: to });
    return each.ask('image', {}, place.signal);
  });
  if (now.running !== to) return undone(journal, now.running);
  if (now.trial) {
    const reason = why ?? 'The board does not take the confirmation.';
    const out = await endTrial(place, board, to, report.trialSeconds, journal);
    return failed(`Version ${to} was not confirmed: ${reason}\n${out.trimEnd()}`);
  }
  place.say(`Version ${to} is confirmed. Looking what it changed …`);
  const { value: outcome } = await throughBreaks(place, board, (each) =>
    restored(place, each, journal.saved),
  );
  journal.now('finished');
  return { ...outcome, out: `The board runs version ${to}, confirmed.\n${outcome.out}` };
}

/** Why firmware on trial is not to be confirmed, as a sentence; nothing where it is. */
async function reasonAgainst(
  place: Workplace,
  board: Board,
  { saved, change: { to } }: FirmwareJournal,
  { confirmByHand }: FirmwareOptions,
  ask: Asking,
): Promise<string | undefined> {
  place.say(`Looking whether version ${to} is healthy …`);
  const ailment = await ailmentOf(board, to, asSaved(saved), place);
  if (ailment !== undefined) return ailment;
  place.say(`Healthy: ${healthWords(to).join('; ')}.`);
  if (!confirmByHand || (await wanted(ask, to))) return undefined;
  return 'It was not confirmed by hand.';
}

async function wanted(ask: Asking, to: string): Promise<boolean> {
  const answer = await ask(
    `Type yes to keep version ${to}; with anything else, or nothing in time, the board goes back: `,
  );
  return answer.trim().toLowerCase() === 'yes';
}

/** Whether a reading is as it was saved; of one that was taken since nothing is known. */
const asSaved =
  ({ readings, memory }: SavedBoard) =>
  (reading: SavedBoard['readings'][number]): boolean =>
    reading.reading > memory.last || readings.some((each) => sameReading(each, reading));

function undone(journal: FirmwareJournal, running: string): Outcome {
  journal.now('undone');
  const { to } = journal.change;
  return failed(
    `The board runs version ${running}: version ${to} was not started, or was not confirmed, and the board went back by itself. Settings, coefficients and readings are untouched, and saved in ${journal.path}. The same command tries it once more.`,
  );
}

/**
 * Ends a trial by a restart.
 *
 * @returns what the board runs then, in words
 * @throws Stopped where it does not come back
 */
async function endTrial(
  place: Workplace,
  board: Board,
  tried: string,
  trialSeconds: number,
  journal: FirmwareJournal | undefined,
): Promise<string> {
  try {
    await board.ask('restart', {});
  } catch (error) {
    if (!(error instanceof ProtocolError) || error.cause === 'cancelled') throw error;
    place.say(error.message); // it goes back by itself when its trial is over
  }
  const end = place.clock.now() + 1000 * trialSeconds + GRACE_MS;
  for (;;) {
    await pause(place.clock, BETWEEN_MS, place.signal);
    try {
      const again = await place.link();
      const { running } = await again.ask('image', {}, place.signal);
      if (running !== tried) {
        journal?.now('undone');
        const saved = journal ? `, and saved in ${journal.path}` : '';
        return `The board is back at version ${running}. Settings, coefficients and readings are untouched${saved}.\n`;
      }
    } catch (error) {
      if (!(error instanceof ProtocolError) || error.cause === 'cancelled') throw error;
    }
    if (place.clock.now() >= end) {
      throw new Stopped(
        `The board is not there again as it was. Switch it off and on: that ends the trial of version ${tried}.`,
      );
    }
  }
}
