import type { BoardIdentity } from '../../protocol/board.ts';
import type { ImageReport } from '../../protocol/care-messages.ts';
import {
  parseImage,
  signedPart,
  type FirmwareImage,
  type ImageFault,
} from '../../protocol/firmware-image.ts';
import { isSignedBy } from './signature.ts';

/** Whether a file of firmware may go onto a board, told before anything is sent. */

/** Why it may not: a closed set. */
export type Unfitness =
  | ImageFault
  | 'other_hardware'
  | 'too_large'
  | 'unsigned'
  | 'forged'
  | 'low_supply'
  | 'on_trial'
  | 'same_image';

export interface FirmwareJudgement {
  /** What the header says; absent where the file is no image. */
  image?: FirmwareImage;
  /** Empty where it may go. */
  unfit: readonly { cause: Unfitness; words: string }[];
  /** What is to be known before: what it replaces, how to come back. */
  words: readonly string[];
}

const FAULTS: Record<ImageFault, string> = {
  not_firmware: 'This file is no firmware for a board of this protocol. Choose another file.',
  damaged_header:
    'The beginning of this file is damaged. Nothing of it may be trusted: fetch it again from where it came.',
  cut_short:
    'This file is cut short, or has something behind its end. Fetch it again from where it came.',
  damaged_program: 'This file is damaged. Fetch it again from where it came.',
};

/** Volts under which new firmware is not begun: a supply that fails in the midst costs time, though no board. */
export const SUPPLY_FOR_FIRMWARE = 3.5;

/**
 * Judges a file against a board.
 *
 * @param report what the board said of its firmware just now
 * @param volt its supply, where it tells
 */
export async function judgeFirmware(
  file: Uint8Array,
  { hardware, firmware }: Pick<BoardIdentity, 'hardware' | 'firmware'>,
  report: ImageReport,
  volt: number | undefined,
): Promise<FirmwareJudgement> {
  const image = parseImage(file);
  if (typeof image === 'string')
    return { unfit: [{ cause: image, words: FAULTS[image] }], words: [] };
  const unfit: { cause: Unfitness; words: string }[] = [];
  const say = (cause: Unfitness, words: string) => unfit.push({ cause, words });
  if (image.hardware !== hardware)
    say(
      'other_hardware',
      `It is for boards of the kind “${image.hardware}”; this one is “${hardware}”. Another kind’s firmware would not run on it.`,
    );
  if (image.size > report.slot)
    say(
      'too_large',
      `It has ${image.size} bytes, and the board takes ${report.slot}. Ask its maker for one that fits.`,
    );
  if (report.key !== undefined) {
    const { signature } = image;
    if (!signature)
      say(
        'unsigned',
        'This board runs only firmware that its maker has signed; this file is not signed.',
      );
    else if (!(await isSignedBy(fromHex(report.key), signature, signedPart(file))))
      say(
        'forged',
        'The signature does not fit this file and this board’s key: it was changed, or is another maker’s. Do not use it.',
      );
  }
  if (report.trial)
    say(
      'on_trial',
      'The board is still trying the firmware it got last. Confirm that, or let the board go back, first.',
    );
  if (image.version === firmware) say('same_image', `The board runs version ${firmware} already.`);
  if (volt !== undefined && volt < SUPPLY_FOR_FIRMWARE)
    say(
      'low_supply',
      `The board’s supply is at ${volt} V; for this it should be ${SUPPLY_FOR_FIRMWARE} V or more. Charge it or change its battery.`,
    );
  return { image, unfit, words: wordsFor(image, firmware) };
}

/** What new firmware does to a board, and the way back. */
function wordsFor(image: FirmwareImage, running: string): string[] {
  return [
    `The board runs ${running}; ${image.version} would take its place. Before that, its settings, its coefficients and its readings are saved in the logbook.`,
    image.resetsSettings
      ? 'This firmware puts every setting back to how the maker made it. They are restored afterwards from what was saved.'
      : 'It leaves the settings as they are.',
    image.replacesCoefficients
      ? 'It puts coefficients of its own in force. Yours are sealed again afterwards, as a new generation, and read back.'
      : 'It leaves the coefficients as they are.',
    `Version ${running} stays on the board: if the new one does not answer, or is not confirmed, the board goes back to it by itself; and you can put it back at any time until other firmware is loaded.`,
  ];
}

function fromHex(digits: string): Uint8Array {
  return Uint8Array.from({ length: digits.length / 2 }, (_, i) =>
    parseInt(digits.slice(2 * i, 2 * i + 2), 16),
  );
}
