import { coefficientsFrom } from '../calib/model.ts';
import type { StoredSet } from '../protocol/board.ts';
import type { BoardHistory } from './calibration-state.ts';
import { timeWords } from './time-words.ts';

/** What a board is and what is on it, in words and figures for the screen. */

export interface Fact {
  name: string;
  value: string;
}

export function boardFacts({ identity, memory, inForce, found, savedAt }: BoardHistory): Fact[] {
  if (!identity) return [];
  const { serial, name, hardware, firmware, protocol, capabilities } = identity;
  const { accMounting, magMounting, accScale, magScale, accNoise, magNoise } = identity;
  const number = (value: number) => Number(value.toPrecision(6));
  return [
    { name: 'Serial number', value: serial },
    ...(name ? [{ name: 'Name', value: name }] : []),
    { name: 'Hardware', value: hardware },
    { name: 'Firmware', value: `${firmware}, protocol ${protocol}` },
    {
      name: 'Generation in force',
      value: inForce ? `${inForce.generation}, ${inForce.model}, check ${inForce.crc}` : 'none yet',
    },
    {
      name: 'Readings in its memory',
      value: memory ? `${memory.count} when linked, room for ${memory.room} more` : 'not known',
    },
    {
      name: 'Saved in the logbook',
      value: savedAt ? timeWords(savedAt) + foundToo(found.length) : 'no',
    },
    {
      name: 'How the chips sit',
      value:
        accMounting && magMounting
          ? `accelerometer ${accMounting}, magnetometer ${magMounting}`
          : 'not declared',
    },
    { name: 'Scale', value: `${number(accScale)} counts in 1 g, ${number(magScale)} in the field` },
    {
      name: 'Noise it declares',
      value: `${number(accNoise)} and ${number(magNoise)} counts per reading and axis`,
    },
    {
      name: 'It can',
      value:
        capabilities.map((each) => CAPABILITIES.get(each) ?? each).join('; ') ||
        'nothing beyond readings',
    },
  ];
}

function foundToo(count: number): string {
  if (count === 0) return '';
  return `; ${count === 1 ? 'one reading' : `${count} readings`} of no calibration`;
}

/** Capabilities that the protocol names (SPEC.md, section 7), in words. */
const CAPABILITIES: ReadonlyMap<string, string> = new Map([
  ['kept', 'keep readings without power'],
  ['trigger', 'be triggered by hand'],
  ['range', 'measure a distance'],
  ['settings', 'have its settings changed'],
  ['image', 'take other firmware over the link'],
]);

export interface CoefficientTable {
  title: string;
  rows: readonly { name: string; values: readonly string[] }[];
}

/** The sets on the board, in force first. */
export function coefficientTables({ inForce, previous }: BoardHistory): CoefficientTable[] {
  return [
    ...(inForce ? [tableOf(inForce, 'in force')] : []),
    ...(previous ? [tableOf(previous, 'before it')] : []),
  ];
}

function tableOf(set: StoredSet, standing: string): CoefficientTable {
  const { o, A, p, B, q, accScale, magScale } = coefficientsFrom(set.model, set.values);
  const row = (name: string, values: readonly number[]) => ({
    name,
    values: values.map((value) => value.toPrecision(6)),
  });
  const matrix = (name: string, values: readonly number[]) =>
    [0, 3, 6].map((from, i) => row(`${name}, ${'xyz'[i]}`, values.slice(from, from + 3)));
  return {
    title: `Generation ${set.generation}, ${standing}: ${set.model}, check ${set.crc}`,
    rows: [
      row('Counts in 1 g, counts in the field', [accScale, magScale]),
      row('Accelerometer offset', o),
      ...matrix('Accelerometer matrix', A),
      row('Magnetometer offset', p),
      ...matrix('Magnetometer matrix', B),
      ...(set.model === 'bowed' ? [row('Curvature', q)] : []),
    ],
  };
}

export interface StoredReading {
  number: number;
  generation: number;
  acc: string;
  mag: string;
}

export function storedReadings({ found }: BoardHistory): StoredReading[] {
  return found.map(({ reading, generation, acc, mag }) => ({
    number: reading,
    generation,
    acc: acc.join(', '),
    mag: mag.join(', '),
  }));
}
