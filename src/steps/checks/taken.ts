import type { Uncertainty } from '../../calib/covariance.ts';
import type { Applied } from '../../calib/model.ts';
import type { CheckRecord } from '../../records/entries.ts';
import type { Seen } from './estimate.ts';

/** What the arithmetic of a check is given: its readings by group, none of which is empty. Radians. */
export interface Taken {
  groups: ReadonlyMap<string, readonly SeenWhole[]>;
  /** Of the coefficients that are checked; absent where nothing is known of it. */
  calibration?: Uncertainty;
  /** The most that azimuth and inclination may be off, degrees. */
  limit: number;
}

/** A reading with all its angles, its calibrated vectors, and its range, metres, where it has one. */
export type SeenWhole = Seen & Pick<Applied, 'g' | 'b'> & { range?: number };

/** What the arithmetic of a check gives. */
export type CameTo = Pick<CheckRecord, 'figures' | 'warnings' | 'found' | 'range'>;
