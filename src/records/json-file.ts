import * as v from 'valibot';

/** What the JSON files of this project have in common: UTF-8, a type, a whole number as version, and a body. */

export type JsonCause = 'not_json' | 'wrong_type' | 'newer_version' | 'bad_value';

export interface JsonFault {
  ok: false;
  cause: JsonCause;
  /** What is wrong with the file, and that nothing was changed: sentences. */
  message: string;
}

const fault = (cause: JsonCause, what: string): JsonFault => ({
  ok: false,
  cause,
  message: `${what}. Nothing was changed.`,
});

/** What a file must be to be read as one of these. */
export interface JsonKind<S extends v.GenericSchema> {
  type: string;
  /** The newest version that is read; there are none before 1. */
  version: number;
  /** What a person would call it: "file of settings". */
  label: string;
  mostBytes: number;
  body: S;
}

/** Reads a file whole or not at all. Fields that the body does not name are ignored. */
export function readJsonFile<S extends v.GenericSchema>(
  bytes: Uint8Array,
  { body, ...kind }: JsonKind<S>,
): { ok: true; content: v.InferOutput<S> } | JsonFault {
  const opened = openJsonFile(bytes, kind);
  if (!opened.ok) return opened;
  const read = v.safeParse(body, opened.content);
  if (read.success) return { ok: true, content: read.output };
  const [issue] = read.issues;
  const what = issue.received === 'undefined' ? 'it is missing' : issue.message;
  const path = v.getDotPath(issue);
  return fault('bad_value', path === null ? what : `${path}: ${what}`);
}

/** Reads a file of that type, of a version that is known; what else is in it is not looked at. */
export function openJsonFile(
  bytes: Uint8Array,
  { type, version, label, mostBytes }: Omit<JsonKind<v.GenericSchema>, 'body'>,
): { ok: true; content: unknown } | JsonFault {
  if (bytes.length > mostBytes) {
    return fault('not_json', `The file is too long for a ${label} (over ${mostBytes} bytes)`);
  }
  let content: unknown;
  try {
    content = JSON.parse(new TextDecoder('utf-8', { fatal: true }).decode(bytes));
  } catch (error) {
    const why = error instanceof Error ? error.message.replace(/\p{C}/gu, '·') : '';
    return fault('not_json', `The file is not JSON text in UTF-8 (${why})`);
  }
  const head = v.safeParse(v.object({ type: v.literal(type), version: v.number() }), content);
  if (!head.success) {
    return fault(
      'wrong_type',
      `This is no ${label}: it must hold "type": "${type}" and a number as "version"`,
    );
  }
  const its = head.output.version;
  if (its > version) {
    return fault(
      'newer_version',
      `The file is of version ${its} and this program reads up to ${version}. Use a newer program`,
    );
  }
  if (!Number.isInteger(its) || its < 1) {
    return fault('bad_value', `version: there is no version ${its} of this format`);
  }
  return { ok: true, content };
}
