import { type Setting, unfit } from '../src/protocol/care-messages.ts';
import { RANGE_SETTINGS } from '../src/protocol/range-settings.ts';
import { LatestOfTwo, type NonVolatile } from './non-volatile.ts';

/** The board's name and its settings (SPEC.md, sections 4.4 and 4.5), and how they are kept. */

type Described = Omit<Setting, 'at' | 'value'>;

const ALWAYS: readonly Described[] = [
  { name: 'beep', label: 'Sound at each reading', kind: 'switch', default: 'on', restart: false },
  {
    ...{ name: 'sleep', label: 'Sleeps when left alone for', kind: 'number', default: '10' },
    ...{ min: '0', max: '120', unit: 'min', restart: false },
  },
  {
    ...{ name: 'angles', label: 'Angles on its display', kind: 'choice', default: 'degrees' },
    ...{ choices: ['degrees', 'gons'], restart: false },
  },
  {
    ...{ name: 'radio', label: 'Reach of its radio', kind: 'choice', default: 'near' },
    ...{ choices: ['near', 'far'], restart: true },
  },
  {
    ...{ name: 'owner', label: 'Shown when it starts', kind: 'text', default: '' },
    ...{ longest: 16, restart: true },
  },
];

const WITH_LIGHT: readonly Described[] = [
  {
    ...{ name: 'light_off', label: 'Light goes out after', kind: 'number', default: '30' },
    ...{ min: '5', max: '300', unit: 's', restart: false },
  },
];

const WITH_RANGE: readonly Described[] = [
  {
    ...{ name: RANGE_SETTINGS.constant.name, label: 'Added to every range', kind: 'number' },
    ...{ default: '0', min: '-1', max: '1', decimals: 4, unit: RANGE_SETTINGS.constant.unit },
    restart: false,
  },
  {
    ...{ name: RANGE_SETTINGS.scale.name, label: 'Scale of ranges, off from one', kind: 'number' },
    ...{ default: '0', min: '-20000', max: '20000', unit: RANGE_SETTINGS.scale.unit },
    restart: false,
  },
];

/*
 *   0    the name, twice
 *   128  the settings that are not as the maker made them, twice
 */
const NAME = { at: 0, size: 64 };
const VALUES = { at: 128, size: 256 };
export const KEPT_SETTINGS_SIZE = VALUES.at + 2 * VALUES.size;

export class KeptSettings {
  readonly #described: readonly Described[];
  readonly #name: LatestOfTwo;
  readonly #kept: LatestOfTwo;
  #values: ReadonlyMap<string, string>;
  /** Changed and not adopted. */
  readonly #changes = new Map<string, string>();

  /** @param at where in the memory it begins */
  constructor(
    bytes: NonVolatile,
    at: number,
    has: { light: boolean; range: boolean },
    private readonly firstName: string,
  ) {
    this.#described = [
      ...ALWAYS,
      ...(has.light ? WITH_LIGHT : []),
      ...(has.range ? WITH_RANGE : []),
    ];
    this.#name = new LatestOfTwo(bytes, at + NAME.at, NAME.size);
    this.#kept = new LatestOfTwo(bytes, at + VALUES.at, VALUES.size);
    const kept = this.#kept.body();
    this.#values = new Map(kept && (JSON.parse(readText(kept)) as [string, string][]));
  }

  get name(): string {
    const kept = this.#name.body();
    return kept ? readText(kept) : this.firstName;
  }

  /** @throws PowerLoss */
  rename(name: string): void {
    if (name !== this.name) this.#name.write((body) => writeText(body, name));
  }

  get count(): number {
    return this.#described.length;
  }

  get revision(): number {
    return this.#kept.sequence;
  }

  get changed(): number {
    return this.#changes.size;
  }

  /** The setting at a place from 1; nothing where there is none. */
  at(place: number): Setting | undefined {
    const described = this.#described[place - 1];
    if (!described) return undefined;
    const { name } = described;
    const value = this.#changes.get(name) ?? this.#values.get(name) ?? described.default;
    return { at: place, value, ...described };
  }

  /** What is in force. */
  all(): Setting[] {
    return this.#described.map((described, i) => {
      const value = this.#values.get(described.name) ?? described.default;
      return { at: i + 1, value, ...described };
    });
  }

  /** Notes a change; says which field will not do, and changes nothing then. */
  change(name: string, value: string): 'name' | 'value' | undefined {
    const described = this.#described.find((each) => each.name === name);
    if (!described) return 'name';
    if (unfit(described, value) !== undefined) return 'value';
    this.#changes.set(name, value);
    return undefined;
  }

  /** Throws away what was changed and not adopted. */
  forget(): void {
    this.#changes.clear();
  }

  /** Puts the changes in force in one step; whether one of them waits for a restart. @throws PowerLoss */
  adopt(): boolean {
    const waits = this.#described.some(({ name, restart }) => restart && this.#changes.has(name));
    this.#keep(new Map([...this.#values, ...this.#changes]));
    this.#changes.clear();
    return waits;
  }

  /** Puts every setting back to how the maker made it. @throws PowerLoss */
  reset(): void {
    this.#keep(new Map());
    this.#changes.clear();
  }

  #keep(values: ReadonlyMap<string, string>): void {
    this.#kept.write((body) => writeText(body, JSON.stringify([...values])));
    this.#values = values;
  }
}

/** A text with its length before it, two bytes. */
function writeText(body: DataView, text: string): void {
  const bytes = new TextEncoder().encode(text);
  body.setUint16(0, bytes.length);
  bytes.forEach((byte, i) => body.setUint8(2 + i, byte));
}

function readText(body: DataView): string {
  const bytes = new Uint8Array(body.buffer, body.byteOffset + 2, body.getUint16(0));
  return new TextDecoder().decode(bytes);
}
