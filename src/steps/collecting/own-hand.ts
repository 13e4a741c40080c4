import type { Attitude } from '../../protocol/simulator.ts';
import type { PlaceState } from '../place-state.ts';

/** A person in the place of the simulated hand: the board is brought to each aim step by step. Degrees. */

/** Whether a person brings the board to its aims: any real one, and a simulated one that a person chose to turn. */
export const turnedByPerson = ({ link, ownHand }: PlaceState): boolean =>
  link.kind !== 'simulated' || ownHand !== undefined;

/** How it is held before a person has turned it: not at the first aim of the plan, so that there is something to do. */
export const FIRST_HELD: Attitude = { azimuth: 30, inclination: -10, roll: 20 };

/** The attitude after a turn by so much about each; azimuth and roll go round, inclination ends straight up and down. */
export function turnedBy(held: Attitude, by: Partial<Attitude>): Attitude {
  const around = (angle: number) => ((angle % 360) + 360) % 360;
  return {
    azimuth: around(held.azimuth + (by.azimuth ?? 0)),
    inclination: Math.max(-90, Math.min(90, held.inclination + (by.inclination ?? 0))),
    roll: around(held.roll + (by.roll ?? 0)),
  };
}
