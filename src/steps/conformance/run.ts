import { mountingMatrix } from '../../calib/model.ts';
import type { StoredSet } from '../../protocol/board.ts';
import type { Clock } from '../../protocol/clock.ts';
import type { Fields } from '../../protocol/line.ts';
import { LinkError, type ByteLink } from '../../protocol/link.ts';
import { careChecks } from './care-checks.ts';
import { coefficientChecks, turnedAboutSight } from './coefficient-checks.ts';
import { conversationChecks } from './conversation-checks.ts';
import { readSet } from './fields-of.ts';
import { lineChecks } from './line-checks.ts';
import { readingChecks } from './reading-checks.ts';
import type { CheckResult, Report } from './report.ts';
import { requestChecks } from './request-checks.ts';
import { Restorer } from './restore.ts';
import { restartChecks } from './restart-checks.ts';
import { CutOff, Stopped, Talk, type Exchange } from './talk.ts';
import { throughoutChecks } from './throughout-checks.ts';
import {
  memoryOf,
  NOT_AGREED,
  NotTried,
  stagedSet,
  Trial,
  type Check,
  type Consents,
  type Found,
  type Ground,
  type Hands,
  type Need,
} from './trial.ts';

/** Whether a board speaks the protocol: every check in its turn, and the board left as it was found. */

export interface ConformanceOptions {
  clock: Clock;
  /** A fresh random number in [0, 1). */
  random(): number;
  consents?: Consents;
  hands?: Hands;
  /** Stops after the check that is running; what was changed is put back first. */
  signal?: AbortSignal;
  /** Told before each check. */
  onProgress?(progress: { done: number; of: number; name: string }): void;
}

/** All checks, in the order in which they are tried. */
export const CHECKS: readonly Check[] = [
  ...conversationChecks,
  ...lineChecks,
  ...requestChecks,
  ...readingChecks,
  ...careChecks,
  ...coefficientChecks,
  ...restartChecks,
];

/**
 * Checks the board at the other end of a link that nobody else has open. The link is opened, and closed in the end.
 *
 * @returns the report, also where the run was stopped or cut off: it says then what state the board is in
 * @throws LinkError when the link cannot be opened; nothing was sent then. Whatever else a check or the hands throw, when
 *   the board was put back and the link closed
 */
export async function checkConformance(
  link: ByteLink,
  { clock, random, consents = {}, hands = {}, signal, onProgress = () => {} }: ConformanceOptions,
): Promise<Report> {
  const talk = new Talk(link, clock, random, signal);
  await talk.open();
  const results: CheckResult[] = [];
  let ground: Ground | undefined;
  let restorer: Restorer | undefined;
  let cut: Report['cut'];
  try {
    const found = await look(talk);
    ground = groundOf(talk, found, consents, hands);
    restorer = new Restorer(ground, setsFrom);
    for (const check of CHECKS) {
      onProgress({
        done: results.length,
        of: CHECKS.length + throughoutChecks.length,
        name: check.name,
      });
      const missing = missingFor(check.need, ground, consents);
      if (missing !== undefined) {
        results.push(untried(check, missing));
        continue;
      }
      const result = await tried(check, ground);
      results.push(result.result);
      if (result.end) throw result.end;
      if (check.need !== 'always' && !check.leaves) await restorer.after(check);
    }
  } catch (error) {
    if (!(error instanceof CutOff || error instanceof Stopped)) {
      const { asFound, words } = await leave(talk, restorer, undefined);
      if (asFound) throw error;
      throw new Error(`${String(error)}. ${words.join(' ')}`, { cause: error });
    }
    const last = results.at(-1)?.name;
    cut = {
      stopped: error instanceof Stopped,
      reason: error.message,
      ...(last && { after: last }),
    };
  }
  const left = await leave(talk, restorer, cut);
  const owing = left.asFound ? undefined : restorer?.owing();
  if (!ground && !talk.ended && !cut?.stopped) results.push(unanswered(talk));
  const why = cut?.stopped ? 'the run was stopped' : `the run was cut off: ${cut?.reason}`;
  for (const check of CHECKS.slice(results.length)) results.push(untried(check, why));
  for (const { name, section, says, judge } of throughoutChecks) {
    const findings = judge(talk);
    const outcome = findings.length > 0 ? 'failed' : talk.heard.length > 0 ? 'passed' : 'not tried';
    const why = outcome === 'not tried' ? { why: 'the board sent nothing' } : {};
    results.push({ name, section, says, outcome, findings, exchanges: [], ...why });
  }
  return {
    checks: results,
    codes: codesSeen(talk),
    left,
    ...(ground && { found: ground.found }),
    ...(cut && { cut }),
    ...(owing && { owing }),
  };
}

/**
 * Puts back what a run has changed and could not put back, over the same link or another to the same board. Readings in
 * its memory are left: they may be others by now. So is a set that someone else has sealed since.
 *
 * @returns the report with how the board is now; nothing where this is another board, to which nothing was done
 * @throws LinkError when the link cannot be opened; nothing was sent then
 */
export async function putRight(
  link: ByteLink,
  report: Report,
  { clock, random }: Pick<ConformanceOptions, 'clock' | 'random'>,
): Promise<Report | undefined> {
  const { found, owing, ...rest } = report;
  if (!found || !owing) return report;
  const talk = new Talk(link, clock, random);
  await talk.open();
  let ground: Ground = {
    ...groundOf(talk, found, {}, {}),
    ...owing,
    ledger: { ...owing.ledger },
  };
  if (owing.right) ground.sets = setsFrom(owing.right);
  const notes: string[] = [];
  let cut: Report['cut'];
  try {
    const now = await look(talk);
    if (now.hello['serial']?.[0] !== found.hello['serial']?.[0]) {
      await talk.close();
      return undefined;
    }
    if (now.inForce && !isKnown(now.inForce, ground)) {
      notes.push(
        `Generation ${now.inForce.generation} was sealed on it since, by someone else: it is left in force.`,
      );
      const ledger = { ...ground.ledger, sealed: false, displaced: false };
      ground = { ...ground, ledger, right: now.inForce, found: { ...now, hello: found.hello } };
    }
    if (now.memory && now.memory.count !== found.memory?.count) {
      notes.push(
        `Readings in its memory: ${now.memory.count}. Those of this check may be among them.`,
      );
      ground = { ...ground, found: { ...ground.found, memory: now.memory } };
    }
  } catch (error) {
    if (!(error instanceof CutOff)) {
      await talk.close();
      throw error;
    }
    cut = { stopped: false, reason: error.message };
  }
  const restorer = new Restorer(ground, setsFrom);
  const left = await leave(talk, restorer, cut);
  const still = left.asFound ? undefined : restorer.owing();
  const words = [...notes, ...left.words];
  return { ...rest, found, left: { ...left, words }, ...(still && { owing: still }) };
}

/** Whether a set is the one to be in force, or one of those that checks seal, or the one that was the previous. */
function isKnown({ crc }: StoredSet, { right, sets, found }: Ground): boolean {
  return [right?.crc, sets.own.crc, sets.other.crc, found.previous?.crc].includes(crc);
}

/** How long a board may take to answer half a line that was in its buffer, milliseconds. */
const CLEARING_MS = 300;

/** What the board is and what is on it, before anything is checked: as far as it can be read. */
async function look(talk: Talk): Promise<Found> {
  await talk.listen(Uint8Array.of(0x0a), CLEARING_MS); // clears half a line out of the board's buffer
  const hello = fieldsOf(await talk.hello());
  const number = (name: string, least: number, most: number, otherwise: number): number => {
    const value = Number(hello[name]?.[0]);
    return Number.isInteger(value) && value >= least && value <= most ? value : otherwise;
  };
  talk.captureMs = number('capture_ms', 1, 9999, talk.captureMs);
  const memory = await talk.ask('memory');
  const inForce = readSet(fieldsOf(await talk.ask('coefficients which=in_force')));
  const previous = readSet(fieldsOf(await talk.ask('coefficients which=previous')));
  return {
    hello,
    can: hello['can'] ?? [],
    chunk: number('chunk', 20, 9999, 20),
    generation: number('generation', 0, 99_999, 0),
    ...(memory.answer?.ok && { memory: memoryOf(memory.answer.fields) }),
    ...(inForce && { inForce }),
    ...(previous && { previous }),
  };
}

const fieldsOf = ({ answer }: Exchange): Fields => (answer?.ok ? answer.fields : {});

/** How far the sets that are sealed are turned about the sight, degrees: far over the 0.01 that angles must agree to. */
const [TURNED, TURNED_FURTHER] = [1, 2];

function groundOf(talk: Talk, found: Found, consents: Consents, hands: Hands): Ground {
  const base = found.inForce ?? nominalSet(found.hello);
  return {
    talk,
    found,
    hands,
    ledger: {
      ...{ readings: false, sealed: false, displaced: false, firstSealed: false },
      ...{ renamed: false, revised: false },
    },
    mayTakeReadings: consents.readings === true && found.memory?.count === 0,
    sets: setsFrom(base),
    ...(found.inForce && { right: found.inForce }),
  };
}

function setsFrom(base: {
  model: 'straight' | 'bowed';
  values: readonly number[];
}): Ground['sets'] {
  const turned = (degrees: number) => turnedAboutSight(base, degrees);
  const staged = ({ model, values }: typeof base) => stagedSet(model, values);
  return { own: staged(turned(TURNED)), other: staged(turned(TURNED_FURTHER)) };
}

/** What the maker's own figures give: the scales, the mountings, and no correction at all. */
function nominalSet(hello: Fields): { model: 'straight'; values: readonly number[] } {
  const matrix = (name: string) =>
    mountingMatrix(hello[name]?.[0] ?? '') ?? [1, 0, 0, 0, 1, 0, 0, 0, 1];
  const scale = (name: string) => Math.fround(Math.max(0.1, Number(hello[name]?.[0]) || 1));
  const none = [0, 0, 0];
  const scales = [scale('acc_scale'), scale('mag_scale')];
  const values = [...scales, ...none, ...matrix('acc_mount'), ...none, ...matrix('mag_mount')];
  return { model: 'straight', values };
}

/** Why a check with this need is not tried; nothing where it is. */
function missingFor(need: Need, ground: Ground, consents: Consents): string | undefined {
  const { found, hands, right, ledger } = ground;
  const full = found.memory
    ? `${found.memory.count} readings are in its memory: store them, erase them, and check again`
    : 'its memory could not be read';
  switch (need) {
    case 'always':
      return undefined;
    case 'empty':
      return found.memory?.count === 0 ? undefined : full;
    case 'readings':
    case 'press':
      if (!consents.readings) return NOT_AGREED.readings;
      if (!ground.mayTakeReadings) return full;
      if (need === 'readings') return undefined;
      if (!found.can.includes('trigger')) return 'it has no trigger';
      return hands.press ? undefined : NOT_AGREED.press;
    case 'first seal':
      if (found.generation > 0) return 'a set was sealed on it before';
      return consents.firstSeal ? undefined : NOT_AGREED.firstSeal;
    case 'seal':
      if (!consents.seal) return NOT_AGREED.seal;
      if (right) return undefined;
      return found.generation === 0 && !ledger.firstSealed
        ? NOT_AGREED.firstSeal
        : 'the set in force could not be read, so it could not be put back';
    case 'settings':
      return consents.settings ? undefined : NOT_AGREED.settings;
    case 'restart':
      return consents.restart ? undefined : NOT_AGREED.restart;
    case 'never':
      return 'what is in the spare slot would be lost, and cannot be put back: try it as your users will, with an image of yours';
  }
}

/** Tries a check. What ends the whole run comes back beside what was found until then. */
async function tried(
  check: Check,
  ground: Ground,
): Promise<{ result: CheckResult; end?: CutOff | Stopped }> {
  const { name, section, says } = check;
  const { talk } = ground;
  const before = talk.exchanges.length;
  const trial = new Trial(ground, says);
  let why: string | undefined;
  let end: CutOff | Stopped | undefined;
  try {
    await check.run(trial);
  } catch (error) {
    if (error instanceof NotTried) why = error.message;
    else if (error instanceof Stopped || error instanceof CutOff) {
      end = error;
      why = error instanceof Stopped ? 'the run was stopped' : error.message;
    } else throw error;
  }
  const { findings } = trial;
  const outcome = findings.length > 0 ? 'failed' : why === undefined ? 'passed' : 'not tried';
  const exchanges = talk.exchanges
    .slice(before)
    .map(({ sent, came }) => ({ sent, came: came.map(({ text }) => text) }));
  const result: CheckResult = {
    ...{ name, section, says, outcome, findings, exchanges },
    ...(outcome === 'not tried' && why !== undefined && { why }),
  };
  return { result, ...(end && { end }) };
}

const untried = ({ name, section, says }: Check, why: string): CheckResult => ({
  ...{ name, section, says, why },
  outcome: 'not tried',
  findings: [],
  exchanges: [],
});

/** The first check, where the board never answered hello. */
function unanswered({ exchanges, heard }: Talk): CheckResult {
  const { name, section, says } = CHECKS[0]!;
  const sent = exchanges.map((exchange) => exchange.sent);
  const came = heard.slice(0, 24).map(({ text }) => text);
  const findings = [{ sent, came, wanted: `An answer. ${says}` }];
  return { name, section, says, outcome: 'failed', findings, exchanges: [] };
}

/** Ends the run: puts back what can be put back, closes the link, and says what state the board is in. */
async function leave(
  talk: Talk,
  restorer: Restorer | undefined,
  cut: Report['cut'],
): Promise<Report['left']> {
  const left = await putBack(talk, restorer, cut);
  try {
    await talk.close();
  } catch (error) {
    if (!(error instanceof LinkError)) throw error;
    return { ...left, words: [...left.words, `The link did not close: ${error.message}.`] };
  }
  return left;
}

async function putBack(
  talk: Talk,
  restorer: Restorer | undefined,
  cut: Report['cut'],
): Promise<Report['left']> {
  if (!restorer) return { asFound: true, words: ['Nothing on the board was changed.'], lines: [] };
  if (cut && !cut.stopped) return restorer.stateUnknown();
  talk.goOnRegardless();
  try {
    return await restorer.finish();
  } catch (error) {
    if (!(error instanceof CutOff)) throw error;
    return restorer.stateUnknown();
  }
}

/** Every code that the board was heard to refuse with, in order of the alphabet. */
function codesSeen({ heard }: Talk): string[] {
  const codes = heard.flatMap(({ line }) =>
    line && line.kind !== 'request' ? (line.fields['code'] ?? []) : [],
  );
  return [...new Set(codes)].sort();
}
