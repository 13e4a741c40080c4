import { degrees } from '../calib/geometry.ts';
import { lineWords, rollWords } from './attitude-words.ts';
import type { CalibrationState, KeptReading } from './calibration-state.ts';
import { degreesText } from './judgement.ts';
import { TOLERANCE } from './tolerance.ts';

/** The readings of a calibration as a table shows them; figures come from the newest fit, even a stale one. */
export interface ReadingRow {
  id: string;
  line: string;
  roll: string;
  field: string;
  gravity: string;
  aimError: string;
  misfit: string;
  /** A misfit that is not normal. */
  odd: boolean;
  temperature: string;
  setAside?: NonNullable<KeptReading['setAside']>;
}

const ABSENT = '–';

export function readingRows({ readings, fit }: CalibrationState): ReadingRow[] {
  const fitted = new Map(fit?.readings.map((reading) => [reading.id, reading]));
  return readings.map(({ id, reading, aim, setAside }) => {
    const seen = fitted.get(id);
    const angle = (value: number | undefined, digits = 2) =>
      value === undefined ? ABSENT : degreesText(degrees(value), digits);
    const { azimuth, inclination } = aim ?? {};
    const line =
      azimuth === undefined || inclination === undefined
        ? 'no planned line'
        : lineWords({ azimuth, inclination });
    return {
      id,
      line,
      roll: aim?.roll === undefined ? ABSENT : rollWords(aim.roll),
      field: seen?.field.toFixed(4) ?? ABSENT,
      gravity: seen?.gravity.toFixed(4) ?? ABSENT,
      aimError: angle(seen?.aimError),
      misfit: seen?.misfit?.toFixed(1) ?? ABSENT,
      odd: (seen?.misfit ?? 0) > TOLERANCE.misfit,
      temperature: reading.temperature === undefined ? ABSENT : reading.temperature.toFixed(1),
      ...(setAside && { setAside }),
    };
  });
}
