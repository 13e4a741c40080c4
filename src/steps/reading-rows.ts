import { degrees } from '../calib/geometry.ts';
import type { BoardIdentity } from '../protocol/board.ts';
import { lineWords, rollWords } from './attitude-words.ts';
import type { CalibrationState, KeptReading } from './calibration-state.ts';
import { degreesText } from './judgement.ts';
import { TOLERANCE } from './tolerance.ts';
import { looksUnturned, UNTURNED_WORDS } from './unturned.ts';

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
  /** Where it looks as if the board had not been turned for it. */
  doubt?: string;
  setAside?: NonNullable<KeptReading['setAside']>;
}

const ABSENT = '–';

/** @param identity of the board, where it is known: its noise tells whether two readings are alike */
export function readingRows(
  { readings, fit }: CalibrationState,
  identity?: BoardIdentity,
): ReadingRow[] {
  const fitted = new Map(fit?.readings.map((reading) => [reading.id, reading]));
  return readings.map((row, i) => {
    const { id, reading, aim, setAside } = row;
    const before = readings[i - 1];
    const unturned = identity && before && looksUnturned(row, before, identity);
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
      ...(unturned && !setAside && { doubt: UNTURNED_WORDS }),
      ...(setAside && { setAside }),
    };
  });
}
