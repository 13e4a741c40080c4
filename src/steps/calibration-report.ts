import { attitudesEverywhere, standardErrors } from '../calib/covariance.ts';
import { interval95 } from '../calib/quantiles.ts';
import { degrees } from '../calib/geometry.ts';
import { applyCoefficients, coefficientsFrom } from '../calib/model.ts';
import { ORDINARY_LIMITS } from '../calib/validity.ts';
import { coefficientsToJson } from '../records/coefficients-file.ts';
import { crcOf } from '../records/coefficients-words.ts';
import type { EntryOf, FitRecord, HoldsFor, ProofRecord, StoredEntry } from '../records/entries.ts';
import {
  REPORT_TYPE,
  REPORT_VERSION,
  writeReport,
  type CalibrationReport,
  type ReportCheck,
  type ReportProof,
  type ReportReading,
  type ReportResult,
  type ReportSite,
} from '../records/report-file.ts';
import { CHECK_NAMES, isOfCoefficients } from './checks/check-names.ts';
import { compareBits, gapSlots, openSlots, type CalibrationState } from './calibration-state.ts';
import { compared, comparisonWords } from './comparison-words.ts';
import { fileName, type FileOut } from './file-out.ts';
import { degreesText } from './finding.ts';
import { judge, type Judgement } from './judgement.ts';
import { historyOfCalibration } from './logbook/board-course.ts';
import { modelFinding } from './model-words.ts';
import { FOR_A_CALIBRATION } from './site/site-history.ts';
import { siteVerdict } from './site/site-words.ts';
import { speaksAgainst } from './speaks-against.ts';
import { dayOf } from './time-words.ts';
import { BLIND_TO, ORDINARY_TOLERANCE, SPREAD_IS_BLIND, toleranceName } from './tolerance.ts';

export type { CalibrationReport, ReportReading, ReportResult } from '../records/report-file.ts';

/** The report of one calibration: all that a reader without this program must know of it, from the logbook alone. */

/** Said on every report. */
export const CAUTION =
  'A magnetic heading alone must not be relied on where an error can hurt someone. Local rules and qualified surveyors decide what a survey needs, and whether this instrument may be used for it.';

type InCalibration<K extends StoredEntry['kind']> = EntryOf<K> & StoredEntry;

/**
 * The report of a calibration; undefined where the logbook has none of that name. Where it was sealed, the fit reported
 * is the one that was sealed, else the newest.
 *
 * @param entries of its board, in reading order
 * @param made by which version of Lodebench, and when
 */
export function reportOf(
  entries: readonly StoredEntry[],
  calibration: string,
  made: { program: string; written: string },
): CalibrationReport | undefined {
  const history = historyOfCalibration(entries, calibration);
  const now = history?.calibration;
  if (!now) return undefined;
  const own = <K extends StoredEntry['kind']>(kind: K, among = entries) =>
    among.filter(
      (entry): entry is InCalibration<K> =>
        entry.kind === kind && entry.calibration === calibration,
    );
  const fitEntry = reported(now, own('fit'));
  const upToFit = fitEntry && entries.slice(0, entries.indexOf(fitEntry) + 1);
  /** The calibration as it was when that fit was made. */
  const then = upToFit ? historyOfCalibration(upToFit, calibration)!.calibration! : now;
  const { identity } = history;
  const links = (upToFit ?? entries).filter((entry) => entry.kind === 'board linked');
  const tolerance = now.tolerance ?? ORDINARY_TOLERANCE;
  const judgement = then.fit && fitEntry ? judge(then.fit, identity, tolerance) : undefined;
  const result = fitEntry && resultOf(fitEntry, then);
  const beginning = entries.find((entry) => entry.calibration === calibration)!;
  const name = identity?.name || now.entered?.boardName;
  const seal = sealOf(entries, now);
  const isSimulated =
    links.at(-1)?.link === 'simulated board' || identity?.hardware.startsWith('simulated') === true;
  const about: About = { now, then, ...(fitEntry && { fit: fitEntry }), isSimulated };
  const setAside = setAsideOf(about);
  const taken = own('reading', upToFit);
  const site = siteOf(entries, now.started, taken.at(-1)?.time ?? now.started);
  const checks = result ? checksOf(entries, result.crc) : [];
  return {
    type: REPORT_TYPE,
    version: REPORT_VERSION,
    ...made,
    calibration,
    board: {
      serial: now.board,
      ...(name && { name }),
      ...(identity && { hardware: identity.hardware, firmware: identity.firmware }),
      simulated: isSimulated,
    },
    ...(beginning.foreign && { bench: beginning.foreign.bench }),
    begun: now.started,
    ...(site && { site }),
    ...(taken.length > 0 && { taken: { first: taken[0]!.time, last: taken.at(-1)!.time } }),
    readings: { ...readingsOf(about), setAside },
    tolerance: { degrees: tolerance.degrees, name: toleranceName(tolerance) },
    ...(!fitEntry &&
      now.refusal && { refusal: { message: now.refusal.message, next: now.refusal.next } }),
    ...(result && { result }),
    ...(judgement && { judgement: judgementOf(judgement) }),
    ...beforeOf(entries, about),
    ...(seal && { seal }),
    ...proofOf(own('proof').at(-1), now),
    checks,
    since: sinceOf(entries, fitEntry, identity?.firmware),
    notes: notesOf(about, beginning.foreign?.bench),
    ...validityOf(about, judgement, { checks, ...(site && { site }) }),
    blindTo: [...new Set([SPREAD_IS_BLIND, ...BLIND_TO, ...(now.proof?.blindTo ?? [])])],
    caution: CAUTION,
  };
}

/** The report as a file for the person. */
export const reportFile = (report: CalibrationReport): FileOut<string> => ({
  name: fileName(
    ['calibration report', report.board.serial, dayOf(new Date(report.begun))],
    'json',
  ),
  content: writeReport(report),
  type: 'application/json',
});

/** A calibration as it is now, and as it was when the fit that is reported was made. */
interface About {
  now: CalibrationState;
  then: CalibrationState;
  fit?: InCalibration<'fit'>;
  isSimulated: boolean;
}

/** The fit that was sealed (two benches number their fits alike, so its check tells it), else the newest. */
function reported(
  { sealed, fit, refusal }: CalibrationState,
  fits: readonly InCalibration<'fit'>[],
): InCalibration<'fit'> | undefined {
  const given = fits.findLast(({ coefficients }) => crcOf(coefficients) === sealed?.crc);
  if (given) return given;
  return fit || !refusal ? fits.at(-1) : undefined;
}

function setAsideOf({ then, fit }: About): CalibrationReport['readings']['setAside'] {
  const byFit = new Map(fit?.setAside.map(({ id, reason }) => [id, reason]));
  return then.readings.flatMap(({ id, sighting, setAside }) => {
    const reason = byFit.get(id);
    const why = setAside ?? (reason === undefined ? undefined : { reason, by: 'fit' as const });
    return why ? [{ id, ...(sighting !== undefined && { sighting }), ...why }] : [];
  });
}

function readingsOf({ now, then, fit }: About): Omit<CalibrationReport['readings'], 'setAside'> {
  const used = new Set(fit?.readings.flatMap(({ id, used }) => (used ? [id] : [])));
  const counted = then.readings.filter(({ id, setAside }) => (fit ? used.has(id) : !setAside));
  const temperatures = counted.flatMap(({ reading }) => reading.temperature ?? []);
  const volts = counted.flatMap(({ reading }) => reading.volt ?? []);
  const { plan, entered } = now;
  return {
    from: entered ? 'sheet' : 'board',
    ...(entered?.file !== undefined && { file: entered.file }),
    ...(entered && { units: { acc: entered.units.acc, mag: entered.units.mag } }),
    plan: {
      name: plan.name,
      sightings: plan.sightings.length,
      attitudes: plan.sightings.reduce((sum, { rolls }) => sum + rolls.length, 0),
      gaps: openSlots(then).length + gapSlots(then).length,
      azimuths: plan.azimuths,
    },
    taken: then.readings.length,
    used: fit ? used.size : 0,
    ...(temperatures.length > 0 && {
      temperature: { coldest: Math.min(...temperatures), warmest: Math.max(...temperatures) },
    }),
    ...(volts.length > 0 && {
      supply: { lowest: Math.min(...volts), highest: Math.max(...volts) },
    }),
  };
}

function resultOf(fit: InCalibration<'fit'>, then: CalibrationState): ReportResult {
  const { coefficients, noise, sightings, meanSpread, heldOut, modelChoice, time } = fit;
  const spreads = sightings.filter(({ spread }) => spread !== undefined);
  return {
    fit: fit.id,
    fitted: time,
    model: coefficients.model,
    ...(modelChoice && { why: modelFinding(coefficients.model, modelChoice).words }),
    crc: crcOf(coefficients),
    coefficients: coefficientsToJson(coefficients),
    dip: degrees(fit.dip),
    azimuth: angleOf(fit, 'azimuth'),
    inclination: angleOf(fit, 'inclination'),
    ...(meanSpread !== undefined && {
      spread: {
        mean: degrees(meanSpread),
        sightings: spreads.length,
        readings: spreads.reduce((sum, { n }) => sum + n, 0),
      },
    }),
    ...(heldOut && {
      leftOut: {
        ...(heldOut.meanSpread !== undefined && { meanSpread: degrees(heldOut.meanSpread) }),
        sightings: heldOut.count,
        doubtful: [...heldOut.doubtful],
      },
    }),
    noise: {
      gravity: noise.acc / coefficients.accScale,
      field: noise.mag / coefficients.magScale,
      ...(noise.aim !== undefined && { aim: degrees(noise.aim) }),
    },
    sightings: sightings.map(({ sighting, n, spread }) => ({
      sighting,
      n,
      ...(spread !== undefined && { spread: degrees(spread) }),
    })),
    readings: readingsSeen(fit, then),
  };
}

type Angle = 'azimuth' | 'inclination';

function angleOf({ uncertainty, readingNoise }: FitRecord, angle: Angle): ReportResult[Angle] {
  const freedom = uncertainty.freedom[angle];
  const certainty = (standardError: number) => ({
    standardError: degrees(standardError),
    interval95: degrees(interval95(standardError, freedom)),
  });
  const all = attitudesEverywhere().map((attitude) => ({
    attitude,
    error: standardErrors(uncertainty, ...attitude)[angle],
  }));
  const worst = all.reduce((a, b) => (b.error > a.error ? b : a));
  const [azimuth, inclination, roll] = worst.attitude.map(degrees) as [number, number, number];
  // parameters that came from a file may be of no use
  const isKnown = Number.isFinite(worst.error);
  const noise = readingNoise?.[angle];
  return {
    typical: certainty(uncertainty[angle]),
    ...(isKnown && { worst: { ...certainty(worst.error), azimuth, inclination, roll } }),
    ...(noise !== undefined && {
      singleReading: certainty(Math.hypot(uncertainty[angle], noise)).interval95,
    }),
    ...(Number.isFinite(freedom) && { freedom }),
  };
}

/** Every reading there was, in the order taken; those the fit was not given are seen through its coefficients. */
function readingsSeen(fit: FitRecord, then: CalibrationState): ReportReading[] {
  const fitted = new Map(fit.readings.map((reading) => [reading.id, reading]));
  return then.readings.map(({ id, sighting, reading }) => {
    const given = fitted.get(id);
    const seen = given ?? applyCoefficients(fit.coefficients, reading.acc, reading.mag);
    const { azimuth, inclination, roll, gravity, field, dip } = seen;
    const line = given?.sighting ?? sighting;
    return {
      id,
      ...(line !== undefined && { sighting: line }),
      used: given?.used === true,
      ...(given?.misfit !== undefined && { misfit: given.misfit }),
      ...(azimuth !== undefined && { azimuth: degrees(azimuth) }),
      ...(inclination !== undefined && { inclination: degrees(inclination) }),
      ...(roll !== undefined && { roll: degrees(roll) }),
      gravity,
      field,
      ...(dip !== undefined && { dip: degrees(dip) }),
    };
  });
}

const judgementOf = ({ standing, verdict, findings, notKnown, warnings }: Judgement) => ({
  standing,
  verdict,
  findings: findings.map((finding) => ({ ...finding })),
  notKnown: [...notKnown],
  warnings: [...warnings],
});

const isRaw = ({ entered }: CalibrationState): boolean =>
  !entered || (entered.units.acc === 'counts' && entered.units.mag === 'counts');

/** What the board ran just before it was sealed, or, where it was not, before it was fitted. */
function beforeOf(
  entries: readonly StoredEntry[],
  { now, fit }: About,
): Pick<CalibrationReport, 'before'> {
  if (!fit || !isRaw(now)) return {};
  const sealed = now.sealed && sealedEntry(entries, now);
  const end = entries.indexOf(sealed ?? fit);
  const known = entries
    .slice(0, end)
    .findLast(
      (entry): entry is InCalibration<'coefficients saved'> => entry.kind === 'coefficients saved',
    )?.inForce;
  if (!known) return {};
  const { generation, model, crc, values } = known;
  const { lead, rows } = comparisonWords(
    compared(coefficientsFrom(model, values), fit.coefficients, fit.dip),
    `generation ${generation}, which the board ran before`,
  );
  return {
    before: { generation, model, crc, lead, changes: rows.map((row) => ({ ...row })) },
  };
}

/** The entry that tells that it was sealed: the first of that generation, as two benches may have recorded it. */
const sealedEntry = (
  entries: readonly StoredEntry[],
  { id, sealed }: CalibrationState,
): InCalibration<'sealed'> | undefined =>
  entries.find(
    (entry): entry is InCalibration<'sealed'> =>
      entry.kind === 'sealed' &&
      entry.calibration === id &&
      entry.crc === sealed?.crc &&
      entry.generation === sealed.generation,
  );

function sealOf(
  entries: readonly StoredEntry[],
  now: CalibrationState,
): CalibrationReport['seal'] | undefined {
  const entry = now.sealed && sealedEntry(entries, now);
  if (!now.sealed || !entry) return undefined;
  const { generation, replaced, crc, set } = now.sealed;
  const reads = entries
    .slice(entries.indexOf(entry))
    .filter(
      (each): each is InCalibration<'coefficients saved'> => each.kind === 'coefficients saved',
    );
  const last = reads.at(-1);
  const found = reads.find(({ inForce }) => inForce?.generation === generation)?.inForce;
  return {
    sealed: entry.time,
    generation,
    replaced,
    crc,
    ...(found && { readBack: compareBits(set, found) }),
    ...(last && { inForce: last.inForce?.crc === crc }),
  };
}

function proofOf(
  entry: InCalibration<'proof'> | undefined,
  { proof, failedProofs, truth }: CalibrationState,
): { proof?: ReportProof } {
  if (!proof || !entry) return {};
  return {
    proof: {
      taken: entry.time,
      generation: proof.generation,
      readings: proof.readings.length,
      passed: proof.passed,
      failedBefore: failedProofs,
      figures: figuresOf(proof),
      warnings: [...proof.warnings],
      blindTo: [...proof.blindTo],
      ...(truth && { truth: truthOf(truth) }),
    },
  };
}

const figuresOf = ({ figures }: ProofRecord): ReportProof['figures'] =>
  figures.map(({ value, ...others }) => ({
    ...others,
    ...(Number.isFinite(value) && { value }), // there may have been nothing to compare
  }));

const truthOf = ({
  azimuth,
  inclination,
  largestAzimuth,
  largestInclination,
  n,
}: NonNullable<CalibrationState['truth']>) => ({
  azimuth,
  inclination,
  largestAzimuth,
  largestInclination,
  n,
});

/** The newest check of the site that was taken for these readings, or between them. */
function siteOf(
  entries: readonly StoredEntry[],
  started: string,
  lastReading: string,
): ReportSite | undefined {
  const from = Date.parse(started) - FOR_A_CALIBRATION;
  const found = entries.findLast(
    (entry): entry is InCalibration<'site checked'> =>
      entry.kind === 'site checked' &&
      Date.parse(entry.time) >= from &&
      Date.parse(entry.time) <= Date.parse(lastReading),
  );
  if (!found) return undefined;
  const { time, place, expected, verdict } = found;
  return {
    checked: time,
    verdict,
    words: siteVerdict(found).heading,
    ...(place && { place: { ...place } }),
    ...(expected && {
      expected: {
        model: expected.model,
        valid: expected.valid,
        declination: degrees(expected.declination),
        dip: degrees(expected.dip),
        strength: expected.strength,
      },
    }),
  };
}

/** Every check in the field of the set with that CRC, each once, though two benches recorded it. */
function checksOf(entries: readonly StoredEntry[], crc: string): ReportCheck[] {
  const told = new Set<string>();
  return entries.flatMap((entry): ReportCheck[] => {
    if (entry.kind !== 'check' || entry.crc !== crc || told.has(entry.check)) return [];
    if (!isOfCoefficients(entry.of)) return [];
    told.add(entry.check);
    const { time, of, verdict, tolerance, figures, warnings } = entry;
    return [
      {
        taken: time,
        name: CHECK_NAMES[of],
        verdict,
        tolerance: tolerance.degrees,
        figures: figures.map(({ value, half, expected: _, ...others }) => ({
          ...others,
          ...(Number.isFinite(value) && { value }),
          ...(Number.isFinite(half) && { half }),
        })),
        warnings: [...warnings],
      },
    ];
  });
}

/**
 * Of each kind of check the newest, with how many before it did not pass. One that is not settled leaves one that failed
 * before it: only one that is passed says anything against that.
 */
export function newestChecks(
  checks: readonly ReportCheck[],
): (ReportCheck & { failedBefore: number })[] {
  const kinds = new Map<string, ReportCheck & { failedBefore: number }>();
  for (const check of checks) {
    const before = kinds.get(check.name);
    const failed = before?.verdict === 'failed' ? 1 : 0;
    if (failed && check.verdict === 'not settled') continue;
    kinds.set(check.name, { ...check, failedBefore: (before?.failedBefore ?? 0) + failed });
  }
  return [...kinds.values()];
}

/** What happened to the board after the fit that may end what it is worth. */
function sinceOf(
  entries: readonly StoredEntry[],
  fit: InCalibration<'fit'> | undefined,
  firmware: string | undefined,
): CalibrationReport['since'] {
  if (!fit) return [];
  const withdrawn = new Set(
    entries.flatMap((entry) => (entry.kind === 'remark withdrawn' ? [entry.of] : [])),
  );
  const day = dayOf(new Date(fit.time));
  const since: CalibrationReport['since'] = [];
  let running = firmware;
  for (const entry of entries.slice(entries.indexOf(fit) + 1)) {
    if (entry.kind === 'battery changed' || entry.kind === 'knocked') {
      if (withdrawn.has(entry.id) || (entry.on !== undefined && entry.on < day)) continue;
      const what =
        entry.kind === 'knocked' ? 'It was knocked or dropped' : 'Its battery was changed';
      since.push({
        when: entry.on ?? entry.time,
        what: entry.text ? `${what}: ${entry.text}` : `${what}.`,
      });
    } else if (entry.kind === 'board linked' && running !== undefined) {
      const { firmware: now } = entry.identity;
      if (now !== running)
        since.push({
          when: entry.time,
          what: `It runs firmware ${now} now, and no longer ${running}.`,
        });
      running = now;
    }
  }
  return since;
}

function notesOf({ now, then, fit, isSimulated }: About, bench: string | undefined): string[] {
  const { sealed, reverted, ended, entered, fits, chosen } = now;
  const isSealed = fit !== undefined && sealed?.crc === crcOf(fit.coefficients);
  const changed = fit !== undefined && then.readings.length < now.readings.length;
  const isNewest = fits.at(-1)?.id === fit?.id;
  return [
    ...(isSimulated
      ? ['The board is simulated, in software: this page is to learn by, and is of no instrument.']
      : []),
    ...(bench === undefined
      ? []
      : [
          `Recorded at another bench (${bench.slice(0, 8)}), whose entries were brought into this logbook.`,
        ]),
    ...(entered
      ? [
          isRaw(now)
            ? 'The readings are from a sheet: what the board was is as a person said it.'
            : `The readings are from a sheet, in ${entered.units.acc} and ${entered.units.mag}: the coefficients hold for numbers in those units, and no board can run them.`,
        ]
      : []),
    ...(chosen && !fit
      ? ['The set was made before, and put on the board as it is: its own calibration says how.']
      : []),
    ...(fit && isSealed && !isNewest
      ? ['A newer fit was made after the one that was sealed. This page is of the sealed one.']
      : []),
    ...(changed || (isNewest && now.fit?.stale)
      ? [
          'Readings were added, set aside or taken back after this fit: it is of those that counted then.',
        ]
      : []),
    ...(fit && now.refusal ? [`A later fit was refused: ${now.refusal.message}`] : []),
    ...(reverted
      ? [
          `It was taken back: the coefficients before are in force again, as generation ${reverted.generation}.`,
        ]
      : []),
    ...(ended?.outcome === 'abandoned' && !reverted
      ? [`This calibration was left: ${ended.reason}.`]
      : []),
  ];
}

/** What the result holds for and what not, a line each. */
function validityOf(
  { now, fit, isSimulated }: About,
  judgement: Judgement | undefined,
  { checks, site }: Pick<CalibrationReport, 'checks' | 'site'>,
): Pick<CalibrationReport, 'validFor' | 'notValidFor'> {
  if (!fit || !judgement) {
    return { validFor: [], notValidFor: ['anything: there is no fit of these readings'] };
  }
  const { tolerance, sealed, proof, reverted } = now;
  const wanted = toleranceName(tolerance ?? ORDINARY_TOLERANCE);
  const { temperature: beyond } = ORDINARY_LIMITS;
  const { temperature, attitudes } = fit.holdsFor ?? {};
  const celsius = (value: number) => value.toFixed(1).replace('-', '−');
  const against = speaksAgainst({
    judgement,
    ...(proof && { proof }),
    checks: newestChecks(checks),
    ...(site && { site }),
    reverted,
  });
  return {
    validFor: [
      ...(against.length > 0 ? [] : [`${wanted}, as far as these figures tell`]),
      'the battery and the housing with which the readings were taken, and all that was mounted then',
      ...(temperature
        ? [
            `${celsius(temperature.coldest - beyond)} to ${celsius(temperature.warmest + beyond)} °C: the readings’ ${celsius(temperature.coldest)} to ${celsius(temperature.warmest)} °C, and ${beyond} °C beyond`,
          ]
        : []),
      ...(attitudes ? [attitudeWords(attitudes)] : []),
      `a field with a dip near ${degreesText(degrees(fit.dip), 1)}: where it is steeper, azimuth is less certain than stated here`,
    ],
    notValidFor: [
      ...(isSimulated ? ['any board that is not simulated'] : []),
      ...against.map((reason) => `${wanted}: ${reason}`),
      ...(sealed ? [] : ['a board as it stands: these coefficients were not sealed on it']),
      ...(sealed && !proof ? ['reliance: no proof on fresh readings has been taken'] : []),
      'the time after a change of battery, of housing or of firmware, a knock, or a season: common practice is to calibrate again then',
      ...(temperature
        ? ['colder or warmer than that']
        : ['any stated temperature: no reading told its own']),
      'sights steeper than 70° up or down, for which these figures are not worked out',
      'true or grid north: azimuths count from magnetic north, and declination is yours to apply',
      'places where iron, wires, vehicles or other instruments are near',
    ],
  };
}

function attitudeWords({ of, outside }: HoldsFor['attitudes']): string {
  const reach = degreesText(degrees(ORDINARY_LIMITS.reach), 0);
  return outside === 0
    ? `every attitude up to 70° up or down (all ${of} that stand for them lie within ${reach} of a reading’s)`
    : `${of - outside} of the ${of} attitudes that stand for all up to 70° up or down: those within ${reach} of a reading’s`;
}
