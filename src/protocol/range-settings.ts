import type { Setting } from './care-messages.ts';

/** The two settings of a range module that every host knows (SPEC.md, section 4.5.1). */
export const RANGE_SETTINGS = {
  constant: { name: 'range_constant', unit: 'm' },
  scale: { name: 'range_scale', unit: 'ppm' },
} as const;

/** What a board makes of what its range module measures m: m · (1 + scale · 10⁻⁶) + constant; metres, parts in a million. */
export interface RangeCorrection {
  constant: number;
  scale: number;
}

/** As the settings have it; nothing where the board has not both, or one of them is not what the specification says. */
export function rangeCorrection(settings: readonly Setting[]): RangeCorrection | undefined {
  const valueOf = ({ name, unit }: { name: string; unit: string }) => {
    const setting = settings.find((each) => each.name === name);
    return setting?.kind === 'number' && setting.unit === unit ? Number(setting.value) : undefined;
  };
  const constant = valueOf(RANGE_SETTINGS.constant);
  const scale = valueOf(RANGE_SETTINGS.scale);
  return constant === undefined || scale === undefined ? undefined : { constant, scale };
}

/** A correction as the values of the two settings, rounded to the decimals that the board takes of each. */
export function rangeSettings(
  { constant, scale }: RangeCorrection,
  settings: readonly Setting[],
): ReadonlyMap<string, string> {
  const text = ({ name }: { name: string }, value: number): [string, string] => {
    const decimals = settings.find((each) => each.name === name)?.decimals ?? 0;
    const rounded = value.toFixed(decimals);
    return [name, Number(rounded) === 0 ? '0' : rounded];
  };
  return new Map([text(RANGE_SETTINGS.constant, constant), text(RANGE_SETTINGS.scale, scale)]);
}
