import type { KeptSite } from './bench-site.ts';
import {
  decimalYear,
  earthField,
  type EarthField,
  type FieldModel,
  type GeoPlace,
  WMM_2025,
  YEARS_OF_A_MODEL,
} from './earth-field.ts';
import { readFieldModel } from './field-model-file.ts';

/**
 * The field to expect where the bench stands; undefined where that is not known.
 *
 * @param site as {@link BenchSite} keeps it
 */
export function expectedField(site: KeptSite, date: Date): EarthField | undefined {
  return site.place && fieldThere(site, site.place, date);
}

/** The field to expect at any place, by the coefficients that the bench has. */
export function fieldThere(site: KeptSite, place: GeoPlace, date: Date): EarthField {
  return earthField(place, date, modelFor(site, date));
}

/** The model that covers the date: that of a person's file, or the one that came with the program. */
export function modelFor({ coefficients }: KeptSite, date: Date): FieldModel {
  const read = coefficients === undefined ? undefined : readFieldModel(coefficients);
  if (!read?.ok) return WMM_2025;
  const year = decimalYear(date);
  const covers = ({ epoch }: FieldModel) => year >= epoch && year < epoch + YEARS_OF_A_MODEL;
  const models = [read.model, WMM_2025];
  // where none does, the newest drifts off least
  return (
    models.find(covers) ??
    models.reduce((newest, each) => (each.epoch > newest.epoch ? each : newest))
  );
}
