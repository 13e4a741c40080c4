import { degrees, turn } from '../../calib/geometry.ts';
import type { CheckFigure, EntryOf } from '../../records/entries.ts';
import { estimate, figureOf, mean, middleOf, scatterOf } from './estimate.ts';
import type { Taken } from './taken.ts';

type Heights = (EntryOf<'check begun'>['terms'] & { check: 'fore and back' })['heights'];

/**
 * Two marks, each seen from the other: half of what fore azimuth and back azimuth less half a turn differ by (times the
 * cosine of inclination), and half of the sum of the two inclinations. Half, since it is what each of the two would be off
 * by if they were off alike.
 *
 * Where the height aimed at was not the height held at, each inclination is first brought to what it would have been:
 * tan β − δ/d, with δ by how much higher was aimed than held and d the level distance.
 */
export function foreAndBackFigures(
  { groups, calibration, limit }: Taken,
  heights: Heights,
): CheckFigure[] {
  const [fore, back] = [groups.get('fore')!, groups.get('back')!];
  const [middleFore, middleBack] = [middleOf(fore), middleOf(back)];
  const levelled = (inclination: number, higher: number) =>
    Math.atan(Math.tan(inclination) - (heights ? higher / heights.distance : 0));
  const { azimuth } = middleFore;
  const level = Math.cos(mean([middleFore.inclination, middleBack.inclination].map(Math.abs)));
  const azimuths = [
    fore.map((each) => turn(azimuth, each.azimuth) * level),
    back.map((each) => turn(azimuth + Math.PI, each.azimuth) * level),
  ];
  const inclinations = [
    fore.map((each) => levelled(each.inclination, heights?.fore ?? 0)),
    back.map((each) => levelled(each.inclination, heights?.back ?? 0)),
  ];
  const figure = (
    name: string,
    angle: 'azimuth' | 'inclination',
    values: number[][],
    sign: 1 | -1,
  ) => {
    const { value, half, n } = estimate(
      [
        { weight: 1 / 2, values: values[0]!, at: middleFore, angle },
        { weight: sign / 2, values: values[1]!, at: middleBack, angle },
      ],
      scatterOf(values),
      calibration,
    );
    return figureOf(name, { value: degrees(value), half: degrees(half), n }, '°', limit);
  };
  return [
    figure('Azimuth × cos inclination, half of fore less back', 'azimuth', azimuths, -1),
    figure('Inclination, half of fore and back together', 'inclination', inclinations, 1),
  ];
}
