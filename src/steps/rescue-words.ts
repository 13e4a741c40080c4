import type { Heard, RescueCause, RescueFinding } from './rescue.ts';

/** What was found of a board in trouble, in words: what it is, what is safe, and what can be done next. */

export interface RescueWords {
  heading: string;
  /** What was seen, as sentences. */
  happened: string;
  safe: string;
  /** What to do next, the likeliest first; each a sentence or two. */
  next: readonly string[];
}

const SAFE =
  'Nothing that the board keeps was changed: it was only asked who it is and what it holds.';
const POWER =
  'Switch the board off, wait ten seconds, and switch it on again; take its battery out if it has no switch. Then look again.';
const SUPPLY =
  'Charge it or change its battery, or give it power from another socket: a weak supply is the usual cause.';
const CABLE = 'Try another cable, one that carries data and not only power, and another socket.';
const SPEED_NOTE =
  'On a serial port, look in its maker’s papers at how many bits a second it speaks, and link it with that.';
const MAKER =
  'If that does not help, its firmware is damaged: only its maker’s own way of loading firmware brings it back. Readings in a kept memory survive that on most boards; ask the maker first.';
const CALIBRATE =
  'Until it has coefficients that you trust, use none of its angles: magnetic heading alone must not be relied on where an error can hurt someone.';

const HEADINGS: Record<RescueCause, string> = {
  no_link: 'The link cannot be opened',
  silent: 'Nothing comes from the board',
  garbage: 'What comes is noise',
  other_talk: 'What answers does not speak this protocol',
  damaged: 'The board’s lines do not come through whole',
  wrong_speed: 'The board speaks at another speed',
  restarting: 'The board starts again and again',
  other_version: 'The board speaks another version of the protocol',
  makes_no_sense: 'The board’s answer makes no sense',
  refuses: 'The board refuses the conversation',
  on_trial: 'New firmware is on trial',
  coefficients_lost: 'The board has lost its coefficients',
  no_coefficients: 'The board has no coefficients',
  well: 'The board answers as it should',
};

const NEXT: Record<RescueCause, readonly string[]> = {
  no_link: [
    'See that the board is plugged in and on, and that no other program or page has it.',
    CABLE,
  ],
  silent: [
    'See that it is on: press its button, wake it, charge it.',
    POWER,
    CABLE,
    `It may speak at another speed. ${SPEED_NOTE}`,
    'If it got new firmware a few minutes ago, wait: firmware that does not answer is undone by the board itself when its trial is over, after 17 minutes at the longest.',
    MAKER,
  ],
  garbage: [
    `It is most likely the wrong speed. ${SPEED_NOTE}`,
    'Shorten the cable, and see that ground is connected: noise comes from a loose or missing ground too.',
    POWER,
    MAKER,
  ],
  other_talk: [
    'See whether this is the right port: another device may be on it.',
    'If it is the board, it runs other firmware: a start-up program that waits for new firmware says such things. Switch it off and on without holding a button.',
    MAKER,
  ],
  damaged: [
    'Bring it nearer or shorten the cable, away from motors, chargers and switching supplies.',
    CABLE,
    `A speed that is slightly off does it too. ${SPEED_NOTE}`,
  ],
  wrong_speed: ['Link it with that speed.'],
  restarting: [
    SUPPLY,
    'If it got new firmware, wait some minutes: the board goes back to the one before by itself.',
    'On a cable, another program that opens its port again and again may reset it: close others.',
    MAKER,
  ],
  other_version: [
    'Use a newer version of this program, or other firmware of the board; which fit together its maker says.',
  ],
  makes_no_sense: [
    POWER,
    'If it stays so, its firmware is at fault: tell its maker the words above.',
  ],
  refuses: [SUPPLY, POWER],
  on_trial: [
    'Finish the change of firmware from where it was begun: there it is looked at and confirmed.',
    'Or leave it alone: it goes back to the firmware before by itself when the trial is over. Switching it off and on does that at once.',
  ],
  coefficients_lost: [
    'Put them back from the file or the logbook in which they were saved: they are sealed as a new generation and read back.',
    'Calibrate again if there is no such file, or if it is not known why they were lost.',
    CALIBRATE,
  ],
  no_coefficients: [
    'If it was calibrated before, put the coefficients back from the file or the logbook in which they were saved.',
    'Otherwise calibrate it.',
    CALIBRATE,
  ],
  well: ['Link it and work on. If the trouble comes back, look again while it is there.'],
};

/** @param finding what was found; `then` is said by words of its own */
export function rescueWords(finding: RescueFinding): RescueWords {
  const { cause, detail } = finding;
  const happened = [happenedWords(finding), ...(detail === undefined ? [] : [sentence(detail)])];
  return { heading: HEADINGS[cause], happened: happened.join(' '), safe: SAFE, next: NEXT[cause] };
}

const sentence = (text: string): string => {
  const whole = text.charAt(0).toUpperCase() + text.slice(1);
  return /[.!?]$/.test(whole) ? whole : `${whole}.`;
};

function happenedWords(finding: RescueFinding): string {
  const { cause, heard, version, speed, trial, identity } = finding;
  switch (cause) {
    case 'no_link':
      return 'Nothing could be sent.';
    case 'silent':
      return 'Hello was said ten times, and not one byte came back.';
    case 'garbage':
      return `${bytesWords(heard)} came, and ${percent(heard)} % of them are text: no line among them is whole. They began “${heard.sample}”.`;
    case 'other_talk':
      return `${bytesWords(heard)} of text came, and no line of it is one of this protocol. It began “${heard.sample}”.`;
    case 'damaged':
      return `${heard.lines} whole lines came and ${heard.broken} broken ones, and hello was not answered.`;
    case 'wrong_speed':
      return `It answers at ${speed} bits a second, and not at the speed that was given.`;
    case 'restarting':
      return `Of ${heard.endings} conversations none lasted: the link ended, the board forgot it, or it fell silent.`;
    case 'other_version':
      return `It answers hello with version ${version}, and this program speaks version 1.`;
    case 'makes_no_sense':
      return 'It answers, and hello’s answer is not as it must be.';
    case 'refuses':
      return 'It answers hello with an error.';
    case 'on_trial':
      return `Version ${trial?.version} runs, and nobody has confirmed it. A trial lasts ${trial?.seconds} seconds at most from the start.`;
    case 'coefficients_lost':
    case 'no_coefficients':
      return `${whoWords(finding)} It computes no angles that can be trusted.`;
    case 'well':
      return `${whoWords(finding)} It runs generation ${identity?.generation}${runningWords(finding)}${heard.endings > 0 ? '; a conversation broke off before' : ''}.`;
  }
}

const whoWords = ({ identity }: RescueFinding): string => {
  if (!identity) return 'It answers.';
  const { serial, name, hardware, firmware } = identity;
  const called = name === '' ? '' : ` “${name}”`;
  return `Board ${serial}${called}, hardware ${hardware}, firmware ${firmware}, answers.`;
};

function runningWords({ runningMs, volt }: RescueFinding): string {
  const running =
    runningMs === undefined
      ? ''
      : `, and has been running for ${runningMs < 120_000 ? `${Math.round(runningMs / 1000)} seconds` : `${Math.round(runningMs / 60_000)} minutes`}`;
  return `${running}${volt === undefined ? '' : `, on ${volt} V`}`;
}

const bytesWords = ({ bytes }: Heard): string => (bytes === 1 ? 'One byte' : `${bytes} bytes`);
const percent = ({ bytes, printable }: Heard): number => Math.round((100 * printable) / bytes);

/** What came over the link, for the screen. */
export function heardFacts(heard: Heard): { name: string; value: string }[] {
  const { bytes, lines, broken, endings, sample } = heard;
  return [
    { name: 'Bytes that came', value: bytes === 0 ? 'none' : `${bytes}` },
    ...(bytes > 0 ? [{ name: 'Of them text', value: `${percent(heard)} %` }] : []),
    { name: 'Whole lines', value: `${lines}` },
    { name: 'Broken lines', value: `${broken}` },
    { name: 'Conversations that broke off', value: `${endings}` },
    ...(sample !== '' && lines === 0 ? [{ name: 'It began', value: sample }] : []),
  ];
}
