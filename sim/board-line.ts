import { type Kind, KINDS, kindNamed } from '../firmware-sim/kinds.ts';
import { checkSettings, defaultSettings } from '../firmware-sim/settings.ts';
import {
  BOARD_FAULTS,
  type BoardFault,
  isBoardFault,
  type SimulatorSettings,
} from '../src/protocol/simulator.ts';

/** A simulated board as a person writes it: `kind=ring,seed=7,lose=0.001`. */

export interface BoardLine {
  kind: Kind;
  settings: SimulatorSettings;
  /** The chance, per byte carried, that the link drops. */
  drop: number;
}

/** Something written that no board can be made of; the message says what, and what may stand there. */
export class BadLine extends Error {
  override readonly name = 'BadLine';
}

const FAULTS: Readonly<Record<string, keyof SimulatorSettings['faults']>> = {
  lose: 'lose',
  double: 'double',
  flip: 'flip',
  delay: 'delayMs',
};

const NUMBERS = [
  'seed',
  'accNoise',
  'magNoise',
  'aim',
  'rollAim',
  'curvature',
  'dip',
  'disturbance',
] as const satisfies readonly (keyof SimulatorSettings)[];

const MOUNTINGS = ['accMounting', 'magMounting'] as const;

/** Every name that may stand before an equals sign, beside `kind` and `drop`. */
export const SETTING_NAMES: readonly string[] = [
  ...NUMBERS,
  ...MOUNTINGS,
  ...Object.keys(FAULTS),
  'fault',
];

/**
 * A board from several texts of `name=value,…`, later ones over earlier ones. What its kind is like stands below all of
 * them, wherever the kind is named.
 *
 * @throws BadLine
 */
export function boardFrom(...texts: readonly string[]): BoardLine {
  const pairs = texts.flatMap(pairsOf);
  const kindName = pairs.findLast(([name]) => name === 'kind')?.[1] ?? KINDS[0]!.name;
  const kind = kindNamed(kindName);
  if (!kind) {
    const names = KINDS.map(({ name }) => name).join(', ');
    throw new BadLine(`There is no kind “${kindName}”; there are ${names}.`);
  }
  const dropText = pairs.findLast(([name]) => name === 'drop')?.[1] ?? '0';
  const drop = number('drop', dropText);
  if (!(drop >= 0 && drop <= 1)) throw new BadLine(`drop is a chance, 0 to 1, not ${dropText}.`);
  const own = pairs.filter(([name]) => name !== 'kind' && name !== 'drop');
  const settings = changed({ ...defaultSettings, ...kind.settings }, own);
  return { kind, settings, drop };
}

/**
 * Settings with the named ones changed.
 *
 * @throws BadLine
 */
export function changedSettings(settings: SimulatorSettings, text: string): SimulatorSettings {
  return changed(settings, pairsOf(text));
}

function pairsOf(text: string): [string, string][] {
  return text
    .split(/[,\s]+/)
    .filter((part) => part !== '')
    .map((part) => {
      const [name, value, ...more] = part.split('=');
      if (!name || !value || more.length > 0) {
        throw new BadLine(`“${part}” is not of the form name=value.`);
      }
      return [name, value];
    });
}

function changed(
  settings: SimulatorSettings,
  pairs: readonly (readonly [string, string])[],
): SimulatorSettings {
  const wanted = structuredClone(settings);
  for (const [name, value] of pairs) set(wanted, name, value);
  try {
    checkSettings(wanted);
  } catch (error) {
    if (error instanceof RangeError) throw new BadLine(error.message);
    throw error;
  }
  return wanted;
}

function set(settings: SimulatorSettings, name: string, value: string): void {
  const numeric = NUMBERS.find((each) => each === name);
  const mounting = MOUNTINGS.find((each) => each === name);
  const fault = Object.hasOwn(FAULTS, name) ? FAULTS[name] : undefined;
  if (numeric) settings[numeric] = number(name, value);
  else if (mounting) settings[mounting] = value;
  else if (fault) settings.faults[fault] = number(name, value);
  else if (name === 'fault') settings.boardFault = boardFault(value);
  else throw new BadLine(`There is no setting “${name}”; there are ${SETTING_NAMES.join(', ')}.`);
}

function boardFault(name: string): BoardFault {
  if (isBoardFault(name)) return name;
  const names = Object.keys(BOARD_FAULTS).join(', ');
  throw new BadLine(`There is no fault “${name}” of a board; there are ${names}.`);
}

/** @throws BadLine */
export function number(name: string, text: string): number {
  const value = Number(text);
  if (text.trim() === '' || !Number.isFinite(value)) {
    throw new BadLine(`${name} is a number, not “${text}”.`);
  }
  return value;
}
