/** What a command ends with: text for either stream and the exit code. */
export interface Outcome {
  /** 0 done, 1 the work could not be done, 2 wrong usage. */
  code: 0 | 1 | 2;
  out?: string;
  err?: string;
}

/** The work could not be done. */
export const failed = (why: string): Outcome => ({ code: 1, err: `${why}\n` });

/** A command was not written as it must be. */
export class UsageError extends Error {
  override readonly name = 'UsageError';
}
