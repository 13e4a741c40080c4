import type { Bench } from '../bench.ts';
import type { BenchPlace } from '../place.ts';
import type { Intention } from '../next-step.ts';
import { CourseFault } from './course-fault.ts';

/** What a simulated board is led through, as a person would: it comes out calibrated and proven. */
const WAY: readonly Intention[] = ['begin', 'take rest', 'fit', 'write', 'prove', 'end'];

/**
 * Links simulated boards until so many run coefficients, and has those that run none calibrated by their own hand. A
 * calibration that is under way at one is left alone: that board does not count.
 *
 * @param show told what is being done
 * @throws CourseFault where a board cannot be linked or calibrated, in the words of its place
 */
export async function makeReady(
  bench: Pick<Bench, 'places' | 'link'>,
  count: number,
  show: (work: string) => void,
): Promise<void> {
  const simulated = () =>
    bench.places.filter(
      ({ state }) => state.link.state === 'linked' && state.link.kind === 'simulated',
    );
  const isReady = ({ state }: BenchPlace) => state.history.inForce !== undefined;
  const isFresh = (place: BenchPlace) => {
    const { calibration } = place.state.history;
    return !isReady(place) && (calibration === undefined || calibration.ended !== undefined);
  };
  for (let done = simulated().filter(isReady).length; done < count; done++) {
    show(`Calibrating simulated board ${done + 1} of ${count}`);
    let place = simulated().find(isFresh);
    if (!place) {
      const before = new Set(bench.places);
      await bench.link('simulated');
      place = simulated().find((each) => !before.has(each)) ?? simulated().find(isFresh);
    }
    if (!place) throw new CourseFault('No simulated board could be linked. Nothing of the course was changed. Look at the bench for why.'); // prettier-ignore
    if (!isReady(place)) await calibrate(place);
  }
}

async function calibrate(place: BenchPlace): Promise<void> {
  for (const step of WAY) {
    await place.perform(step);
    const { trouble } = place.state;
    if (trouble) throw new CourseFault(`${trouble.heading}. ${trouble.message}`);
  }
  if (place.state.history.inForce === undefined) {
    throw new CourseFault('A simulated board could not be calibrated. Nothing of the course was changed. Look at the bench for why.'); // prettier-ignore
  }
}
