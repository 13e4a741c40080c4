import type { AssemblyFault, AssemblyFinding, AssemblyRecord } from '../../records/entries.ts';
import type { Standing } from '../finding.ts';

/**
 * What a finding about a freshly soldered board means: the likely fault, and where on the board to look. Common practice
 * of the bench, with no published source.
 */

export const CHIPS = { acc: 'accelerometer', mag: 'magnetometer' } as const;

interface FaultWords {
  /** Goes on after "The accelerometer" or the like. */
  title: string;
  likely: ForChip;
  /** Where to look, the likeliest first. */
  look: readonly ForChip[];
}

/** Words; or words for one chip, and maybe others for the other one. */
type ForChip = string | { acc?: string; mag?: string };

const FAULTS: Record<AssemblyFault, FaultWords> = {
  'no answer': {
    title: 'does not answer',
    likely: 'It has no supply, does not hang on the bus, or is asked under another address.',
    look: [
      'Supply at the chip’s own pins, and its ground.',
      'The joints of its two data lines; both drawn up by their resistors.',
      'The pin that chooses its address, and the one that chooses the bus.',
      'Bridges of solder under the chip, and whether it sits the right way round.',
    ],
  },
  stuck: {
    title: 'does not follow on one axis',
    likely: 'The chip answers, but a part of it is dead: by heat, static or a knock.',
    look: [
      'Read it again after switching the board off and on.',
      'In the firmware: whether that axis is switched on, and read from its own place.',
      'Otherwise exchange the chip.',
    ],
  },
  clipped: {
    title: 'ends too early on one axis',
    likely: 'Its range is set too small, or the chip is damaged.',
    look: [
      'In the firmware: the range of the chip, and whether a count is cut to fewer bits.',
      { mag: 'A magnet or a battery so near that the range is used up.' },
      'Otherwise exchange the chip.',
    ],
  },
  'end of range': {
    title: 'A chip is at the end of its range',
    likely:
      'A magnet, a speaker, a battery or a magnetised screw is beside the magnetometer; or a range is set too small.',
    look: [
      'Take battery, screws and magnetic closures away from the magnetometer and look again.',
      'In the firmware: the range of both chips.',
      'Otherwise exchange the chip that stays at its end.',
    ],
  },
  noisy: {
    title: 'trembles far more than it should',
    likely: 'Its supply is not quiet, or a joint is bad.',
    look: [
      'The capacitor beside the chip’s supply pin: there, the right one, soldered on both sides.',
      'Joints of the chip, with a lens; resolder and look again.',
      'What draws current beside it: radio, converter, light, wires of the battery.',
      'Whether the table is still: lay the board on something firm and check again.',
    ],
  },
  quiet: {
    title: 'trembles far less than it should',
    likely: 'The same sample is read again and again, or a filter is set far too heavy.',
    look: [
      'In the firmware: whether it waits for a new sample before it reads.',
      'In the firmware: filter, averaging and rate of the chip.',
      'The line by which the chip says that a sample is ready.',
    ],
  },
  lags: {
    title: 'comes behind after every turn',
    likely: 'A filter is set far too heavy, or old samples are waiting in a queue.',
    look: [
      'In the firmware: filter and rate of the chip.',
      'In the firmware: whether its queue of samples is emptied before a reading.',
    ],
  },
  turned: {
    title: 'sits otherwise than the board declares',
    likely: 'The chip was soldered on turned round, or the board declares the mounting of another.',
    look: [
      'The dot or notch of the chip against the mark printed on the board.',
      'Which chip it is: another maker’s part of the same size may have its axes otherwise.',
      'In the firmware: the mounting it declares. Where the chip sits as it was meant to, correct that.',
    ],
  },
  reversed: {
    title: 'has an axis the wrong way round',
    likely: 'No way of soldering makes a mirror image, so this is in the firmware.',
    look: [
      'In the firmware: the sign of that axis, or the mounting it declares.',
      'Which chip it is: another maker’s part may count that axis the other way.',
    ],
  },
  swapped: {
    title: 'has two axes exchanged',
    likely: 'No way of soldering makes a mirror image, so this is in the firmware.',
    look: [
      'In the firmware: the order in which the axes are read from the chip, and the mounting it declares.',
      'Which chip it is: some have their axes stored in an order of their own.',
    ],
  },
  mirrored: {
    title: 'is of the opposite handedness',
    likely: 'No way of soldering makes a mirror image, so this is in the firmware.',
    look: [
      { mag: 'First of all: whether the sight was to the north at rest, and not to the south.' },
      'In the firmware: whether the chip counts against gravity or the field where it should count with it.',
      'In the firmware: signs and order of its axes, and the mounting it declares.',
      'Which chip it is: another maker’s part may be the mirror image.',
    ],
  },
  contradictory: {
    title: 'fits no way of sitting on the board',
    likely: 'It answers and changes, but not as any mounting would have it in these turns.',
    look: [
      'Do the turns again with care; if this stays, it is the board.',
      { mag: 'Steel on the table or in it, a magnet that moves with the hand.' },
      'Joints of the chip; otherwise exchange it.',
    ],
  },
  offset: {
    title: 'has an offset that is far too large',
    likely: {
      acc: 'The chip was bent, or overheated, when it was soldered.',
      mag: 'Iron, a magnet or a battery sits too near to it.',
    },
    look: [
      {
        acc: 'Whether the board is bent beside it, by a screw or in its housing.',
        mag: 'Battery: its can is often steel. Turn it end for end, move it away, and look again.',
      },
      {
        acc: 'Otherwise exchange the chip.',
        mag: 'Screws, nuts, spacers, inserts and connectors beside the chip: brass, not steel.',
      },
      { mag: 'Magnetic closures, speaker, tools that magnetise.' },
    ],
  },
  scale: {
    title: 'counts in another scale than the board declares',
    likely: 'Its range is set otherwise than the firmware believes, or it is another chip.',
    look: [
      'In the firmware: range and resolution of the chip against the scale it declares.',
      'What is printed on the chip.',
    ],
  },
  'supply low': {
    title: 'The supply is too low to read the sensors',
    likely: 'The battery is empty, or something on the way from it takes too much.',
    look: [
      'The battery under load, then the voltage at the regulator’s output.',
      'Joints of the battery holder, switch and connector.',
      'A chip that gets warm: a bridge of solder draws current.',
    ],
  },
  'supply implausible': {
    title: 'The supply voltage told cannot be',
    likely: 'The board runs, so what measures its supply is wrong.',
    look: [
      'The two resistors that divide the supply for measuring: values, joints.',
      'In the firmware: the factor by which it is multiplied.',
    ],
  },
  'temperature implausible': {
    title: 'The temperature told cannot be',
    likely:
      'The thermometer does not answer; a figure such as 85, 0 or −40 is often what is read then.',
    look: [
      'Supply and data joints of the thermometer, and its address.',
      'In the firmware: whether a measurement is begun and waited for, and how it is converted.',
    ],
  },
};

/** The same of both chips alike. */
const WHOLE_BOARD: FaultWords = {
  title: 'The whole board sits otherwise than it declares',
  likely:
    'Another end was taken for the nose, or the board lies in its housing the other way round.',
  look: [
    'Which end of the instrument is the sight, and which side is its top; then do the turns again.',
    'How the board lies in its housing.',
    'In the firmware: the mounting it declares is for another housing.',
  ],
};

/** The kinds of fault there are. */
export const ASSEMBLY_FAULTS = Object.keys(FAULTS) as AssemblyFault[];

export interface FindingInWords {
  /** As a heading. */
  title: string;
  evidence: string;
  likely: string;
  look: readonly string[];
}

/** A finding in words. */
export function findingWords({ fault, chip, axes, evidence }: AssemblyFinding): FindingInWords {
  const isWhole = fault === 'turned' && chip === undefined;
  const { title, likely, look } = isWhole ? WHOLE_BOARD : FAULTS[fault];
  const who = chip && `The ${CHIPS[chip]}`;
  const which = axes && axes.length > 0 && axes.length < 3 ? ` (its ${axesWords(axes)})` : '';
  const own = (words: ForChip): string | undefined =>
    typeof words === 'string' ? words : chip && words[chip];
  return {
    title: who ? `${who} ${title}${which}` : title,
    evidence,
    likely: own(likely) ?? '',
    look: look.flatMap((words) => own(words) ?? []),
  };
}

const axesWords = (axes: readonly string[]): string =>
  axes.length === 1 ? `axis ${axes[0]}` : `axes ${axes.join(' and ')}`;

/** What a check came to, as a heading with its shape. */
export function assemblyVerdict({ verdict, findings }: AssemblyRecord): {
  standing: Standing;
  heading: string;
} {
  if (verdict === 'faulty') {
    const n = findings.length;
    return {
      standing: 'bad',
      heading: n === 1 ? 'Something is wrong with it' : `${n} things are wrong with it`,
    };
  }
  return verdict === 'sound'
    ? { standing: 'good', heading: 'Nothing wrong was found' }
    : { standing: 'watch', heading: 'Nothing wrong was found, but not all could be told' };
}

/** What this check cannot see, whatever it comes to. */
export const ASSEMBLY_BLIND: readonly string[] = [
  'How true it is: only a calibration and its proof tell that.',
  'A joint that holds now and gives way later, in the cold, or with a knock.',
  'Smaller offsets and errors of scale: a calibration finds them, and makes up for them.',
];
