import { outside, type Asked, type OutsideReason, type Validity } from '../calib/validity.ts';

/**
 * How certain an angle is, is for the judgement to say; here it is told what a reading was that none of the
 * calibration's were.
 */
const WHY: Partial<Record<OutsideReason, string>> = {
  colder: 'colder than the calibration holds for',
  warmer: 'warmer than the calibration holds for',
  down_not_covered: 'held as no reading of the calibration was',
  field_not_covered: 'turned to the field as no reading of the calibration was',
  no_direction: 'without a direction of down, or of the field',
};

/** Readings named in full; more than these are counted. */
const NAMED = 10;

/** Which readings lie outside what a calibration holds for, and why: a line for each reason, none where all lie inside. */
export function outsideWords(
  validity: Validity,
  readings: readonly (Asked & { id: string })[],
): string[] {
  const beyond = new Map<string, string[]>();
  for (const reading of readings) {
    for (const reason of outside(validity, reading)) {
      const why = WHY[reason];
      if (why !== undefined) beyond.set(why, [...(beyond.get(why) ?? []), reading.id]);
    }
  }
  return [...beyond].map(([why, ids]) => {
    const more = ids.length > NAMED ? ` and ${ids.length - NAMED} more` : '';
    return `${ids.slice(0, NAMED).join(', ')}${more}: ${why}`;
  });
}
