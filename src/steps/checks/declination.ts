import { degrees } from '../../calib/geometry.ts';
import type { KeptSite } from '../site/bench-site.ts';
import { expectedField } from '../site/expected-field.ts';

/** The declination where the bench stands, as the form of a check takes it; or why there is none, in words. */
export function declinationHere(
  site: KeptSite,
  date: Date,
):
  | { ok: true; declination: string; declinationError: string; words: string }
  | { ok: false; words: string } {
  const field = expectedField(site, date);
  if (!field) {
    return {
      ok: false,
      words:
        'The place is not known: keep it under “Is the place clean?” first, or type the declination.',
    };
  }
  const { declination, standardErrors, model, valid } = field;
  const signed = degrees(declination).toFixed(2).replace('-', '−');
  const error = degrees(standardErrors.declination).toFixed(2);
  const stale = valid
    ? ''
    : ' That model does not cover today: it drifts off, so take coefficients from a newer file.';
  return {
    ok: true,
    declination: signed,
    declinationError: error,
    words: `${signed}°, with a standard error of ${error}°, by ${model}. It does not know the rocks below.${stale}`,
  };
}
