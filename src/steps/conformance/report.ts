import { BOARD_CODES } from '../../protocol/errors.ts';
import { PROTOCOL_VERSION } from '../../protocol/messages.ts';
import type { Left, Owing } from './restore.ts';
import { NOT_AGREED, stagedSet, type Finding, type Found } from './trial.ts';

/** What a run found, for the maker of the board: as text and as JSON. */

export interface CheckResult {
  name: string;
  /** Of SPEC.md. */
  section: string;
  says: string;
  outcome: 'passed' | 'failed' | 'not tried';
  /** Why it was not tried. */
  why?: string;
  /** What is not as SPEC.md says; none unless it failed. */
  findings: readonly Finding[];
  /** All that was sent and came. */
  exchanges: readonly { sent: string; came: readonly string[] }[];
}

export interface Report {
  checks: readonly CheckResult[];
  /** The board as it was found; absent where it never answered hello. */
  found?: Found;
  /** Codes that the board refused with. */
  codes: readonly string[];
  /** The run ended early: a person stopped it, or the link or the board gave out. */
  cut?: { stopped: boolean; reason: string; after?: string };
  left: Left;
  /** What `putRight` (run.ts) can still put back; absent where there is nothing. */
  owing?: Owing;
}

export interface Tally {
  passed: number;
  failed: number;
  untried: number;
}

export function tally({ checks }: Report): Tally {
  const count = (outcome: CheckResult['outcome']) =>
    checks.filter((check) => check.outcome === outcome).length;
  return { passed: count('passed'), failed: count('failed'), untried: count('not tried') };
}

/** The verdict in one sentence. */
export function verdict(report: Report): string {
  const { passed, failed, untried } = tally(report);
  const tried = passed + failed;
  const rest = untried > 0 ? ` ${untried} were not tried.` : '';
  if (report.cut && !report.cut.stopped) {
    return `The run was cut off: ${report.cut.reason}. Until then ${failed} of ${tried} checks failed.${rest}`;
  }
  if (failed > 0) return `${failed} of ${tried} checks failed.${rest}`;
  return `All ${tried} checks that were tried passed.${rest}`;
}

/** Who the board is, in one line. */
export function boardLine({ found }: Report): string {
  if (!found) return 'A board that did not answer hello';
  const of = (name: string) => found.hello[name]?.[0] ?? '';
  const name = of('name') ? ` “${of('name')}”` : '';
  return `Board ${of('serial') || 'without a serial number'}${name}, hardware ${of('hardware') || '?'}, firmware ${of('firmware') || '?'}`;
}

/** Codes of SPEC.md that the board was not seen to refuse with. */
export function codesNotSeen({ codes }: Report): string[] {
  return BOARD_CODES.filter((code) => !codes.includes(code)).sort();
}

/** How many findings of one check are shown as text; the JSON has all. */
const SHOWN = 6;

/** What to type for the leave that was wanting, where the checks are run from a command line. */
export type LeaveOptions = Partial<Record<keyof typeof NOT_AGREED, string>>;

/**
 * The report as text: what failed first, with what was sent, what came, and what SPEC.md says.
 *
 * @param options what gives leave; named beside what was not tried for want of it
 */
export function reportText(report: Report, options: LeaveOptions = {}): string {
  const { checks, cut, left } = report;
  const having = (outcome: CheckResult['outcome']) =>
    checks.filter((check) => check.outcome === outcome);
  const lines = [
    `Does this board speak the protocol? (SPEC.md, version ${PROTOCOL_VERSION})`,
    boardLine(report),
    verdict(report),
    '',
  ];
  if (cut?.after) lines.push(`It was cut off after “${cut.after}”.`, '');
  for (const check of having('failed')) lines.push(...failedLines(check), '');
  const untried = having('not tried');
  if (untried.length > 0) {
    lines.push('NOT TRIED');
    for (const [why, names] of byReason(untried)) {
      lines.push(`  ${why}${toType(why, options)}:`, ...names.map((name) => `    ${name}`));
    }
    lines.push('');
  }
  const passed = having('passed');
  if (passed.length > 0) {
    lines.push('PASSED');
    for (const { name, section } of passed) lines.push(`  ${name} (${section})`);
    lines.push('');
  }
  lines.push(
    `Codes it was not seen to refuse with: ${codesNotSeen(report).join(', ') || 'none'}.`,
    '',
  );
  lines.push('THE BOARD NOW', ...left.words.map((sentence) => `  ${sentence}`));
  if (left.lines.length > 0) {
    lines.push(
      '  To be sent, in this order, to put it right:',
      ...left.lines.map((line) => `    ${line}`),
    );
  }
  return `${lines.join('\n')}\n`;
}

function toType(why: string, options: LeaveOptions): string {
  const wanting = Object.keys(options) as (keyof LeaveOptions)[];
  const option = wanting.find((each) => NOT_AGREED[each] === why);
  return option === undefined ? '' : ` (${options[option]})`;
}

/** Names and sections of what was not tried, under the reason why. */
export function byReason(untried: readonly CheckResult[]): Map<string, string[]> {
  const reasons = new Map<string, string[]>();
  for (const { name, section, why = '' } of untried) {
    reasons.set(why, [...(reasons.get(why) ?? []), `${name} (${section})`]);
  }
  return reasons;
}

function failedLines({ name, section, says, findings }: CheckResult): string[] {
  const lines = [`FAILED: ${name}`, `  SPEC.md ${section}: ${says}`];
  for (const { sent, came, wanted } of findings.slice(0, SHOWN)) {
    lines.push(
      ...sent.map((line) => `    sent    > ${line === '' ? '(an empty line, or nothing)' : line}`),
      ...(came.length > 0
        ? came.map((line) => `    came    < ${line}`)
        : ['    came    (nothing)']),
      ...(wanted === says ? [] : [`    wanted    ${wanted}`]),
    );
  }
  if (findings.length > SHOWN) lines.push(`    and ${findings.length - SHOWN} times more`);
  return lines;
}

/** The report as JSON: all of it, the whole conversation included. Schema: docs/schemas/conformance-1.schema.json */
export function reportJson(report: Report): string {
  const { checks, found, cut, left, codes } = report;
  return `${JSON.stringify(
    {
      type: 'lodebench.conformance',
      version: 1,
      protocol: PROTOCOL_VERSION,
      verdict: verdict(report),
      ...tally(report),
      ...(found && { board: boardJson(found) }),
      ...(cut && { cut }),
      left,
      codesSeen: codes,
      codesNotSeen: codesNotSeen(report),
      checks,
    },
    undefined,
    2,
  )}\n`;
}

function boardJson({ hello, memory, inForce, previous }: Found) {
  const set = (stored: typeof inForce) =>
    stored && {
      generation: stored.generation,
      model: stored.model,
      crc: stored.crc,
      words: stagedSet(stored.model, stored.values).words,
    };
  return {
    hello: Object.fromEntries(
      Object.entries(hello).map(([name, items]) => [name, items.join(',')]),
    ),
    ...(memory && { memory }),
    ...(inForce && { inForce: set(inForce) }),
    ...(previous && { previous: set(previous) }),
  };
}
