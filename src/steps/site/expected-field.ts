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
export function modelFor(site: KeptSite, date: Date): FieldModel {
  const own = ownModel(site);
  if (!own) return WMM_2025;
  const year = decimalYear(date);
  const covers = ({ epoch }: FieldModel) => year >= epoch && year < epoch + YEARS_OF_A_MODEL;
  const models = [own, WMM_2025];
  // where none does, the newest drifts off least
  return (
    models.find(covers) ??
    models.reduce((newest, each) => (each.epoch > newest.epoch ? each : newest))
  );
}

/** By the site, which is replaced whole at every change: views ask at every drawing, and a file is long. */
const ownModels = new WeakMap<KeptSite, FieldModel | undefined>();

/** The model of a person's file; undefined where there is none, or it cannot be read. */
function ownModel(site: KeptSite): FieldModel | undefined {
  if (ownModels.has(site)) return ownModels.get(site);
  const { coefficients } = site;
  const read = coefficients === undefined ? undefined : readFieldModel(coefficients);
  const model = read?.ok ? read.model : undefined;
  ownModels.set(site, model);
  return model;
}
