import {
  angles,
  attitude,
  cross,
  degrees,
  radians,
  rotate,
  unit,
  type Mat3,
  type NoAngle,
} from '../../calib/geometry.ts';
import {
  applyCoefficients,
  coefficientsFrom,
  mountingMatrix,
  type Coefficients,
} from '../../calib/model.ts';
import type { Vec3 } from '../../calib/reading.ts';
import type { Board, BoardIdentity } from '../../protocol/board.ts';
import { provesNow } from '../calibration-state.ts';
import type { PlaceState } from '../place-state.ts';

/** How a board is held now, from what its sensors show. Degrees. */

/** What `sense` gives. */
export type Sensed = Awaited<ReturnType<Board['sense']>>;

/**
 * Where angles come from. `provisional`: a fit of the readings kept so far. `in force`: the coefficients that the board
 * runs. `board`: its own angles, from whatever it applies. `mounting`: from the accelerometer's bare counts and from how
 * the board says it sits: inclination and roll to a few degrees, and no azimuth, since no offset of a magnetometer is known
 * beforehand.
 */
export type AttitudeSource = 'provisional' | 'in force' | 'board' | 'mounting';

export interface AttitudeNow {
  from: AttitudeSource;
  azimuth?: number;
  inclination?: number;
  roll?: number;
  /** Why azimuth, or azimuth and roll, are absent. */
  reason?: NoAngle;
  /** Body to world; absent where down and field do not give one. */
  rotation?: Mat3;
}

/**
 * The attitude that a look at the sensors shows, from the first of: coefficients given, in their order; the board's own
 * angles; what its mounting says. Undefined where there is none of them.
 */
export function attitudeNow(
  sensed: Pick<Sensed, 'acc' | 'mag' | 'azimuth' | 'inclination' | 'roll'>,
  sources: readonly Source[],
  board: Pick<BoardIdentity, 'accMounting'> = {},
): AttitudeNow | undefined {
  const [source] = sources;
  if (source) return through(source, sensed);
  const { azimuth, inclination, roll } = sensed;
  if (azimuth === undefined && inclination === undefined && roll === undefined) {
    return byMounting(sensed, board);
  }
  const isWhole = azimuth !== undefined && inclination !== undefined && roll !== undefined;
  return {
    from: 'board',
    ...(azimuth !== undefined && { azimuth }),
    ...(inclination !== undefined && { inclination }),
    ...(roll !== undefined && { roll }),
    ...(isWhole && { rotation: attitude(radians(azimuth), radians(inclination), radians(roll)) }),
  };
}

function through(
  { from, coefficients }: Source,
  { acc, mag }: Pick<Sensed, 'acc' | 'mag'>,
): AttitudeNow {
  const { g, b } = applyCoefficients(coefficients, acc, mag);
  const { azimuth, inclination, roll, reason } = angles(g, b);
  // a sight straight up has no azimuth, but the board has an attitude all the same
  const hasAxes = reason === undefined || reason === 'vertical_sight';
  const [down, east] = [unit(g), unit(cross(g, b))];
  const rotation: Mat3 = [...cross(east, down), ...east, ...down];
  return {
    from,
    ...(azimuth !== undefined && { azimuth: degrees(azimuth) }),
    ...(inclination !== undefined && { inclination: degrees(inclination) }),
    ...(roll !== undefined && { roll: degrees(roll) }),
    ...(reason !== undefined && { reason }),
    ...(hasAxes && rotation.every(Number.isFinite) && { rotation }),
  };
}

function byMounting(
  { acc }: Pick<Sensed, 'acc'>,
  { accMounting }: Pick<BoardIdentity, 'accMounting'>,
): AttitudeNow | undefined {
  const mounting = accMounting === undefined ? undefined : mountingMatrix(accMounting);
  if (!mounting) return undefined;
  const { inclination, roll } = angles(rotate(mounting, acc), ANY_FIELD);
  return {
    from: 'mounting',
    ...(inclination !== undefined && { inclination: degrees(inclination) }),
    ...(roll !== undefined && { roll: degrees(roll) }),
  };
}

/** Inclination and roll do not depend on it. */
const ANY_FIELD: Vec3 = [1, 0, 0];

export interface Source {
  from: AttitudeSource;
  coefficients: Coefficients;
}

/** What angles may be had from, the best first. In a proof it is what the board runs that is proven. */
export function sourcesOf({ live, history }: Pick<PlaceState, 'live' | 'history'>): Source[] {
  const { inForce } = history;
  const fits: Source[] = live?.ok ? [{ from: 'provisional', coefficients: live.coefficients }] : [];
  const runs: Source[] = inForce
    ? [{ from: 'in force', coefficients: coefficientsFrom(inForce.model, inForce.values) }]
    : [];
  return provesNow(history) ? [...runs, ...fits] : [...fits, ...runs];
}
