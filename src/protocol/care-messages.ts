import {
  bytes,
  choice,
  encodedLength,
  field,
  hex,
  int,
  message,
  names,
  oneName,
  optional,
  text,
  yesNo,
  type Message,
} from './fields.ts';

/**
 * Messages for the care of a board (SPEC.md, sections 4.4 to 4.6): its name, clock and light, settings that describe
 * themselves, and its firmware.
 */

/** The greatest numbers and lengths here. */
export const CARE_LIMITS = {
  settings: 99,
  revision: 99_999,
  /** Characters of a setting's value on the wire, percent-encoded. */
  value: 24,
  /** The same of its label. */
  label: 48,
  /** Bytes of an image, and of it in one `put`. */
  image: 9_999_999,
  put: 128,
} as const;

export type SettingKind = 'switch' | 'number' | 'choice' | 'text';

/** One setting as the board describes it. All values are texts, as they are on the wire. */
export interface Setting {
  /** Its place in the list, from 1. */
  at: number;
  name: string;
  /** What a person would call it. */
  label: string;
  kind: SettingKind;
  /** The value in force, or the one that is to be adopted if it was changed since. */
  value: string;
  default: string;
  /** Of a number. */
  min?: string;
  max?: string;
  decimals?: number;
  unit?: string;
  /** Of a choice. */
  choices?: readonly string[];
  /** Of a text: the most bytes it may have. */
  longest?: number;
  /** Whether a change takes effect only once the board has started again. */
  restart: boolean;
}

export interface SettingsState {
  count: number;
  /** Counts up with every `adopt`. */
  revision: number;
  /** How many changes wait to be adopted. */
  changed: number;
}

export type ImageState = 'empty' | 'partial' | 'whole' | 'checked' | 'pending';

/** The board's firmware and what is in its spare slot. */
export interface ImageReport {
  /** Bytes that the spare slot takes. */
  slot: number;
  /** Version of the firmware that runs. */
  running: string;
  /** Whether it runs on trial: it must be confirmed, or the board goes back to the one before. */
  trial: boolean;
  /** Seconds that a trial lasts before the board goes back by itself. */
  trialSeconds: number;
  state: ImageState;
  /** Of the image in the spare slot, or on its way there; absent when it is empty. */
  size?: number;
  crc?: string;
  /** Bytes of it that are there. */
  written?: number;
  /** Its version, once it was checked. */
  spare?: string;
  /** The key that a signature must fit, where the board demands one: 64 hexadecimal digits of an Ed25519 public key. */
  key?: string;
}

const version = text(1, 12);
const revision = int(0, CARE_LIMITS.revision);
const count = int(0, CARE_LIMITS.settings);
const place = int(1, CARE_LIMITS.settings);
const value = text(0, CARE_LIMITS.value);
const imageSize = int(1, CARE_LIMITS.image);
const imageBytes = int(0, CARE_LIMITS.image);
const empty: Message<Record<never, never>> = message({});
const name = text(0, 20);
const light = choice(['on', 'off']);
const seconds = int(0, 0xffffffff);

/** A public key, as 64 hexadecimal digits. */
const key = {
  write: (digits: string, fail: (why: string) => never) => [readKey(digits, fail)],
  read: (items: readonly string[], fail: (why: string) => never) => readKey(items.join(','), fail),
};

function readKey(digits: string, fail: (why: string) => never): string {
  return /^[0-9A-F]{64}$/.test(digits) ? digits : fail('is no key of 64 hexadecimal digits');
}

const OF_KIND = {
  number: ['min', 'max', 'decimals', 'unit'],
  choice: ['choices'],
  text: ['longest'],
} as const;

const setting: Message<Setting> = message(
  {
    at: field('at', place),
    name: field('name', oneName),
    label: field('label', text(1, 40)),
    kind: field('kind', choice(['switch', 'number', 'choice', 'text'])),
    value: field('value', value),
    default: field('default', value),
    min: optional('min', text(1, 12)),
    max: optional('max', text(1, 12)),
    decimals: optional('decimals', int(0, 6)),
    unit: optional('unit', text(1, 8)),
    choices: optional('choices', names(80)),
    longest: optional('longest', int(1, CARE_LIMITS.value)),
    restart: field('restart', yesNo),
  },
  (described, fail) => {
    const { label, unit, name } = described;
    if (name.length > 16) fail('name', `is longer than 16 characters`);
    if (encodedLength(label) > CARE_LIMITS.label)
      fail('label', `takes more than ${CARE_LIMITS.label} characters`);
    if (unit !== undefined && encodedLength(unit) > 12)
      fail('unit', 'takes more than 12 characters');
    for (const [kind, fields] of Object.entries(OF_KIND)) {
      if (kind === described.kind) continue;
      const stray = fields.find((each) => described[each] !== undefined);
      if (stray) fail(stray, `belongs to a ${kind}, not to a ${described.kind}`);
    }
    for (const each of ['value', 'default'] as const) {
      const why = unfit(described, described[each]);
      if (why !== undefined) fail(each, why);
    }
  },
);

const NUMBER = /^-?(0|[1-9][0-9]{0,8})(\.[0-9]{1,6})?$/;

/**
 * Why a setting cannot have this value; nothing where it can. Host and board judge by the same rule (SPEC.md, section
 * 4.5).
 */
export function unfit(
  described: Pick<Setting, 'kind' | 'min' | 'max' | 'decimals' | 'choices' | 'longest'>,
  value: string,
): string | undefined {
  if (encodedLength(value) > CARE_LIMITS.value)
    return `takes more than ${CARE_LIMITS.value} characters on the wire`;
  switch (described.kind) {
    case 'switch':
      return value === 'on' || value === 'off' ? undefined : 'is neither on nor off';
    case 'choice':
      return described.choices?.includes(value) ? undefined : 'is not among the choices';
    case 'text': {
      const length = new TextEncoder().encode(value).length;
      const longest = described.longest ?? CARE_LIMITS.value;
      if (/[\p{Cc}\p{Cf}\p{Cs}\p{Zl}\p{Zp}]/u.test(value)) return 'holds control characters';
      return length > longest ? `is longer than ${longest} bytes` : undefined;
    }
    case 'number': {
      const { min, max, decimals = 0 } = described;
      if (!NUMBER.test(value)) return 'is not a number';
      if ((value.split('.')[1] ?? '').length > decimals)
        return `has more than ${decimals} decimals`;
      if (min !== undefined && Number(value) < Number(min)) return `is below ${min}`;
      if (max !== undefined && Number(value) > Number(max)) return `is above ${max}`;
      return undefined;
    }
  }
}

const imageReport: Message<ImageReport> = message(
  {
    slot: field('slot', imageSize),
    running: field('running', version),
    trial: field('trial', yesNo),
    trialSeconds: field('trial_s', int(10, 999)),
    state: field('state', choice(['empty', 'partial', 'whole', 'checked', 'pending'])),
    size: optional('size', imageSize),
    crc: optional('crc', hex),
    written: optional('written', imageBytes),
    spare: optional('spare', version),
    key: optional('key', key),
  },
  ({ state, size, written }, fail) => {
    if (state === 'empty') return;
    if (size === undefined) return fail('size', 'is missing');
    if (written === undefined || written > size) fail('written', 'does not fit the size');
  },
);

/** The request and the `ok` answer of each verb for the care of a board. */
export const CARE_VERBS = {
  rename: {
    request: message({ to: field('to', name) }),
    answer: message({ name: field('name', name) }),
  },
  clock: {
    request: message({ set: optional('set', seconds) }),
    answer: message({ utc: field('utc', seconds) }),
  },
  light: {
    request: message({ set: optional('set', light) }),
    answer: message({ light: field('light', light) }),
  },
  restart: { request: empty, answer: empty },
  settings: {
    request: empty,
    answer: message({
      count: field('count', count),
      revision: field('revision', revision),
      changed: field('changed', count),
    }) satisfies Message<SettingsState>,
  },
  setting: { request: message({ at: field('at', place) }), answer: setting },
  change: {
    request: message({ name: field('name', oneName), value: field('value', value) }),
    answer: message({
      name: field('name', oneName),
      value: field('value', value),
      changed: field('changed', count),
    }),
  },
  adopt: {
    request: message({ replaces: field('replaces', revision) }),
    answer: message({ revision: field('revision', revision), restart: field('restart', yesNo) }),
  },
  image: { request: empty, answer: imageReport },
  load: {
    request: message({ size: field('size', imageSize), crc: field('crc', hex) }),
    answer: message({ written: field('written', imageBytes) }),
  },
  put: {
    request: message({
      at: field('at', imageBytes),
      bytes: field('bytes', bytes(CARE_LIMITS.put)),
    }),
    answer: message({ written: field('written', imageBytes) }),
  },
  verify: {
    request: message({ crc: field('crc', hex) }),
    answer: message({ firmware: field('firmware', version) }),
  },
  swap: {
    request: message({ crc: field('crc', hex) }),
    answer: message({ firmware: field('firmware', version) }),
  },
  confirm: {
    request: message({ firmware: field('firmware', version) }),
    answer: message({ firmware: field('firmware', version) }),
  },
};

export type CareVerb = keyof typeof CARE_VERBS;
