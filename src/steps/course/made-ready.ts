import type { Bench } from '../bench.ts';
import type { BenchPlace } from '../place.ts';
import type { Intention } from '../next-step.ts';
import { CourseFault } from './course-fault.ts';

/** What a simulated board is led through, as a person would: it comes out calibrated and proven. */
const WAY: readonly Intention[] = ['begin', 'take rest', 'fit', 'write', 'prove', 'end'];

/**
 * Links simulated boards until so many run coefficients or can be brought to it, and has those that run none calibrated by
 * their own hands, all at once. A calibration that is under way at one is left alone: that board does not count.
 *
 * @param show told what is being done
 * @throws CourseFault where a board cannot be linked or calibrated, in the words of its place
 */
export async function makeReady(
  bench: Pick<Bench, 'places' | 'link'>,
  count: number,
  show: (work: string) => void,
): Promise<void> {
  const usable = () =>
    bench.places.filter(
      (place) =>
        place.state.link.state === 'linked' &&
        place.state.link.kind === 'simulated' &&
        (isReady(place) || isIdle(place)),
    );
  while (usable().length < count) {
    const before = usable().length;
    show(`Linking simulated board ${before + 1} of ${count}`);
    await bench.link('simulated');
    if (usable().length === before) {
      throw new CourseFault(
        'No simulated board could be linked. Nothing of the course was changed. Look at the bench for why.',
      );
    }
  }
  const fresh = usable()
    .slice(0, count)
    .filter((place) => !isReady(place));
  show(
    `${fresh.length === 1 ? 'A simulated board calibrates itself' : `${fresh.length} simulated boards calibrate themselves`}`,
  );
  await Promise.all(fresh.map(calibrate));
}

const isReady = ({ state }: BenchPlace): boolean => state.history.inForce !== undefined;

/** Nothing is under way at it. */
function isIdle({ state }: BenchPlace): boolean {
  const { calibration } = state.history;
  return calibration === undefined || calibration.ended !== undefined;
}

async function calibrate(place: BenchPlace): Promise<void> {
  for (const step of WAY) {
    await place.perform(step);
    const { trouble } = place.state;
    if (trouble) throw new CourseFault(`${trouble.heading}. ${trouble.message}`);
  }
  if (!isReady(place)) {
    throw new CourseFault(
      'A simulated board could not be calibrated. Nothing of the course was changed. Look at the bench for why.',
    );
  }
}
