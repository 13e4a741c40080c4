import type { BoardHistory } from './calibration-state.ts';
import { CHECK_NAMES, isOfCoefficients, type CheckRecord } from './checks/check-names.ts';

/** What is known of coefficients that may speak against relying on them. */
export interface Evidence {
  /** How their fit is judged. */
  judgement?: { standing: string };
  proof?: { passed: boolean };
  /** Their checks in the field that stand, by name. */
  checks: readonly { name: string; verdict: CheckRecord['verdict'] }[];
  /** What was found of the site where they were made. */
  site?: { verdict: string };
  /** They were taken back from the board. */
  reverted?: unknown;
}

/** Why coefficients are not to be relied on, each to follow a colon; empty where nothing speaks against them. */
export function speaksAgainst({ judgement, proof, checks, site, reverted }: Evidence): string[] {
  return [
    ...(judgement?.standing === 'bad' ? ['it was judged not good enough'] : []),
    ...(proof && !proof.passed ? ['the proof did not pass'] : []),
    ...checks
      .filter(({ verdict }) => verdict === 'failed')
      .map(({ name }) => `a check in the field did not pass (${name.toLowerCase()})`),
    ...(site?.verdict === 'disturbed' ? ['the site was found disturbed'] : []),
    ...(reverted ? ['it was taken back, and the coefficients before put in force again'] : []),
  ];
}

/** The same of what a board runs, by the proof of its calibration and its checks. */
export function speaksAgainstInForce({ calibration, checks, inForce }: BoardHistory): string[] {
  const { proof } = calibration ?? {};
  return speaksAgainst({
    ...(proof && { proof }),
    checks: Object.values(checks.settled)
      .filter(({ crc, of }) => crc === inForce?.crc && isOfCoefficients(of))
      .map(({ of, verdict }) => ({ name: CHECK_NAMES[of], verdict })),
  });
}
