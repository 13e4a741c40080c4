import { interval95 } from '../../calib/quantiles.ts';
import { degrees } from '../../calib/geometry.ts';
import type { FitRecord, ToleranceChoice } from '../../records/entries.ts';
import { STAGES, type StageName, type WorkshopTerms } from '../../records/workshop-notes.ts';
import { assemblyFaults, assemblyOf } from '../assembly/assembly-history.ts';
import { openSlots, runsSealed, type BoardHistory } from '../calibration-state.ts';
import { without } from '../copy-without.ts';
import { judge, type Judgement } from '../judgement.ts';
import { holdsWithin, openProofSlots } from '../proof.ts';
import { FOR_A_CALIBRATION } from '../site/site-history.ts';
import { speaksAgainstInForce } from '../speaks-against.ts';
import { dayWords } from '../time-words.ts';
import { limitsFor } from '../tolerance.ts';
import type { KitResult, KitStage } from './roster.ts';

/** How far the board of a kit is, what is wrong with it, and what came of it: from all that the logbook says of the board. */

export interface KitStanding {
  stage: KitStage;
  /** In a few words. */
  trouble?: string;
  /** Absent before a fit that is of the readings as they are. */
  result?: KitResult;
}

export const stageOf = (name: StageName, words: string = name): KitStage => ({
  name,
  words,
  step: STAGES.indexOf(name),
});

export const NOT_SEEN: KitStage = stageOf('not linked yet');

/** Whether something was done at a workshop of that day or since; the day may be of any zone of time. */
export const isSince = (day: string, time: string): boolean =>
  Date.parse(time) >= Date.parse(day) - FOR_A_CALIBRATION;

/**
 * @param terms `tolerance`: what the workshop judges every kit against, whatever was chosen at the board; `day`: what was
 *   begun before it was not done at the workshop
 */
export function standingOf(
  all: BoardHistory,
  { day, tolerance }: Pick<WorkshopTerms, 'day' | 'tolerance'>,
): KitStanding {
  const { calibration, assembly } = all;
  const isEarlier = calibration !== undefined && !isSince(day, calibration.started);
  const wasChecked = assembly.newest && !isSince(day, assembly.newest.time);
  const history = {
    ...(isEarlier ? without(all, 'calibration') : all),
    ...(wasChecked && { assembly: without(assembly, 'newest') }),
  };
  const fit = fitOf(history);
  const judgement = fit && judge(fit, history.identity, tolerance);
  const own = stageIn(history, judgement, tolerance);
  const before = own.words === 'linked' ? earlierWords(all) : undefined;
  const stage = isEarlier && before !== undefined ? { ...own, words: before } : own;
  const wrong = assemblyFaults(all); // a fault stands whenever it was found
  const trouble = troubleIn(history, stage, judgement, tolerance, wrong);
  return {
    stage,
    ...(trouble !== undefined && { trouble }),
    ...(fit && judgement && { result: resultOf(history, fit, judgement, tolerance) }),
  };
}

/** The fit that was sealed and runs, else the newest if it is of the readings as they are now. */
function fitOf(history: BoardHistory): FitRecord | undefined {
  const { calibration } = history;
  if (!calibration) return undefined;
  const { sealed, fits, fit } = calibration;
  if (sealed && runsSealed(history)) return fits.findLast(({ id }) => id === sealed.fit);
  return calibration.ended || fit?.stale ? undefined : fit;
}

/** How far its calibration came before the workshop. */
function earlierWords(history: BoardHistory): string | undefined {
  const { calibration } = history;
  const { sealed, proof, started } = calibration ?? {};
  if (sealed && runsSealed(history))
    return `${proof?.passed ? 'proven' : 'written'} before, ${dayWords(sealed.time)}`;
  if (started === undefined || calibration?.ended) return undefined;
  return `linked, its calibration was begun before, ${dayWords(started)}`;
}

const doesNotHold = ({ degrees }: ToleranceChoice): string =>
  `the proof does not hold for ±${degrees}°`;

function stageIn(
  history: BoardHistory,
  judgement: Judgement | undefined,
  tolerance: ToleranceChoice,
): KitStage {
  const { calibration, identity } = history;
  if (calibration?.sealed && runsSealed(history)) {
    const { proof, proofReadings } = calibration;
    if (proof) {
      if (!proof.passed) return stageOf('written', 'written, the proof did not pass');
      if (!holdsWithin(proof, limitsFor(tolerance)))
        return stageOf('written', `written, ${doesNotHold(tolerance)}`);
      return judgement?.standing === 'bad'
        ? stageOf('written', 'written, not good enough')
        : stageOf('proven');
    }
    const of = openProofSlots([]).length;
    const done = of - openProofSlots(proofReadings).length;
    const words = done > 0 ? `written, ${done} of ${of} fresh readings` : 'written, not proven yet';
    return { ...stageOf('written', words), progress: { done, of } };
  }
  if (calibration && !calibration.ended) {
    if (judgement) {
      const isGood = judgement.standing !== 'bad';
      return stageOf('judged', `judged: ${isGood ? 'good enough' : 'not good enough'}`);
    }
    const of = calibration.plan.sightings.reduce((sum, { rolls }) => sum + rolls.length, 0);
    const done = of - openSlots(calibration).length;
    if (of === 0) return stageOf('taking readings', `${calibration.readings.length} readings`);
    return { ...stageOf('taking readings', `readings ${done} of ${of}`), progress: { done, of } };
  }
  const assembly = assemblyOf(history);
  if (assembly.stage === 'checked' && assembly.verdict !== 'faulty')
    return stageOf('assembly checked');
  if (assembly.stage === 'under way') {
    const { looked, of } = assembly;
    const words = `assembly check, ${looked} of ${of} poses`;
    return { ...stageOf('linked', words), progress: { done: looked, of } };
  }
  return identity ? stageOf('linked') : NOT_SEEN;
}

function troubleIn(
  history: BoardHistory,
  { name }: KitStage,
  judgement: Judgement | undefined,
  tolerance: ToleranceChoice,
  wrong: string | undefined,
): string | undefined {
  const { calibration } = history;
  const isWritten = name === 'written' || name === 'proven';
  if (isWritten) {
    const [against] = speaksAgainstInForce(history);
    if (against !== undefined) return against;
    const { proof } = calibration!; // what was written is of it
    if (proof && !holdsWithin(proof, limitsFor(tolerance))) return doesNotHold(tolerance);
  } else if (calibration && !calibration.ended) {
    if (calibration.sealFailed) return 'it was not written';
    if (calibration.refusal && !calibration.refusal.stale) return 'no fit from these readings';
  }
  if (wrong !== undefined) return wrong;
  return judgement?.standing === 'bad' ? 'not good enough' : undefined;
}

function resultOf(
  history: BoardHistory,
  fit: FitRecord,
  { standing }: Judgement,
  tolerance: ToleranceChoice,
): KitResult {
  const { sealed, proof } = history.calibration!; // the fit is of it
  const { azimuth, inclination, freedom } = fit.uncertainty;
  const isSealed = sealed !== undefined && sealed.fit === fit.id && runsSealed(history);
  const [against] = isSealed ? speaksAgainstInForce(history) : [];
  return {
    ...(isSealed && { generation: sealed.generation, sealed: sealed.time, crc: sealed.crc }),
    tolerance,
    judged: standing,
    ...(fit.meanSpread !== undefined && { meanSpread: degrees(fit.meanSpread) }),
    azimuth: degrees(interval95(azimuth, freedom.azimuth)),
    inclination: degrees(interval95(inclination, freedom.inclination)),
    readings: fit.readings.filter(({ used }) => used).length,
    ...(isSealed &&
      proof && {
        proof: {
          passed: proof.passed,
          holds: holdsWithin(proof, limitsFor(tolerance)),
          readings: proof.readings.length,
        },
      }),
    ...(against !== undefined && { against }),
    ...(fit.holdsFor?.temperature && { temperature: fit.holdsFor.temperature }),
  };
}
