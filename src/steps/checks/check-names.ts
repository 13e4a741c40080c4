import type { CheckKind } from '../../records/entries.ts';

export type { CheckKind, CheckRecord } from '../../records/entries.ts';

/** What each check in the field is called on screen. */
export const CHECK_NAMES: Readonly<Record<CheckKind, string>> = {
  rolls: 'Four rolls on one mark',
  'fore and back': 'Fore and back sights',
  'known bearings': 'Known bearings',
  'battery swap': 'Before and after a change of battery',
  loop: 'A closed loop',
  range: 'Ranges of taped baselines',
  beam: 'Pointer beam against sight',
};

/** Whether a check that is not passed speaks against the coefficients: ranges and a beam that is askew do not. */
export const isOfCoefficients = (kind: CheckKind): boolean => kind !== 'range' && kind !== 'beam';
