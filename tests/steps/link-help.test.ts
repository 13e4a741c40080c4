import { describe, expect, it } from 'vitest';
import type { LinkCause } from '../../src/protocol/link.ts';
import { ProtocolError } from '../../src/protocol/errors.ts';
import { troubleOf } from '../../src/steps/bench-words.ts';
import { endOf } from '../../src/steps/link-end.ts';
import { KINDS, linkHelp, systemOf, SYSTEMS } from '../../src/steps/link-help.ts';

/** Whoever cannot link is told what happened, what is safe and what to do, whatever they link with and on. */

/** Every cause; the compiler says if one is missing or too many. */
const CAUSES = Object.keys({
  unsupported: 0,
  switched_off: 0,
  none_chosen: 0,
  not_permitted: 0,
  no_rights: 0,
  in_use: 0,
  unreachable: 0,
  no_board: 0,
  gone: 0,
  closed: 0,
  failed: 0,
} satisfies Record<LinkCause, 0>) as LinkCause[];

const all = CAUSES.flatMap((cause) =>
  KINDS.flatMap((kind) => SYSTEMS.map((system) => ({ cause, kind, system }))),
);
const nextOf = (...args: Parameters<typeof linkHelp>) => linkHelp(...args).next.join(' ');

it('says what happened, what is safe and what to do next for every cause, kind and system', () => {
  expect(all).toHaveLength(11 * 4 * 6);
  for (const { cause, kind, system } of all) {
    const { heading, happened, safe, next } = linkHelp(cause, kind, system);
    const where = `${cause}, ${kind}, ${system}`;
    expect(next.length, where).toBeGreaterThan(0);
    expect(heading, where).toMatch(/^[A-Z].+[^.]$/);
    for (const sentence of [happened, safe, ...next]) {
      expect(sentence, where).toMatch(/^[A-Z].+[.]$/);
      expect(sentence, where).not.toMatch(/undefined|\s\s/);
    }
    expect(new Set(next).size, where).toBe(next.length);
  }
});

describe('words for one system', () => {
  it('name the groups that may open a port on Linux, and nowhere else', () => {
    expect(nextOf('no_rights', 'serial', 'linux')).toMatch(/dialout.*uucp/);
    for (const system of SYSTEMS.filter((each) => each !== 'linux')) {
      for (const cause of CAUSES) expect(nextOf(cause, 'serial', system)).not.toContain('dialout');
    }
  });

  it('say where Bluetooth is switched on in Chromium on Linux', () => {
    expect(nextOf('unsupported', 'bluetooth', 'linux')).toContain('chrome://flags');
    expect(nextOf('unsupported', 'bluetooth', 'windows')).not.toContain('chrome://flags');
  });

  it('send nobody on iOS to another browser, but to another machine or to files', () => {
    for (const kind of ['serial', 'bluetooth'] as const) {
      const next = nextOf('unsupported', kind, 'ios');
      expect(next).not.toContain('Chromium');
      expect(next).toMatch(/computer/);
      expect(next).toMatch(/in a file need no link/);
    }
  });

  it('say that a board absent from the list may be linked to a phone', () => {
    for (const system of SYSTEMS) {
      expect(nextOf('none_chosen', 'bluetooth', system)).toContain('linked to a phone');
    }
  });
});

it('guesses the system from what the browser says of itself', () => {
  const of = (platform: string, touchPoints = 0) =>
    systemOf(`Mozilla/5.0 (${platform}) AppleWebKit/537.36 (KHTML, like Gecko)`, touchPoints);
  expect(of('X11; Linux x86_64')).toBe('linux');
  expect(of('Windows NT 10.0; Win64; x64')).toBe('windows');
  expect(of('Macintosh; Intel Mac OS X 10_15_7')).toBe('mac');
  expect(of('Macintosh; Intel Mac OS X 10_15_7', 5)).toBe('ios'); // an iPad
  expect(of('iPhone; CPU iPhone OS 17_0 like Mac OS X', 5)).toBe('ios');
  expect(of('Linux; Android 14; Pixel 8', 5)).toBe('android');
  expect(of('X11; CrOS x86_64 14541.0.0')).toBe('chromeos');
});

it('tells what became of a link by its kind', () => {
  const gone = new ProtocolError({ cause: 'link_closed', link: 'gone', reason: 'it went' });
  expect(KINDS.map((kind) => endOf(gone, kind))).toEqual([
    'unplugged',
    'out of reach',
    'ended there',
    'ended there',
  ]);
  const end = (fault: ConstructorParameters<typeof ProtocolError>[0]) =>
    endOf(new ProtocolError(fault), 'serial');
  expect(end({ cause: 'board_restarted' })).toBe('started again');
  expect(end({ cause: 'no_answer', verb: 'hello', may: 'nothing' })).toBe('asleep');
  expect(end({ cause: 'link_refused', link: 'in_use', reason: 'busy' })).toBe('taken');
  expect(end({ cause: 'link_refused', link: 'no_rights', reason: 'no' })).toBe('failed');
});

it('says of a board that does not answer the first word what may keep it from answering', () => {
  const silent = (verb: string) =>
    troubleOf(new ProtocolError({ cause: 'no_answer', verb, may: 'nothing' }), {
      kind: 'bluetooth',
      system: 'android',
    });
  expect(silent('hello').next?.join(' ')).toContain('linked to a phone');
  expect(silent('sense').next).toBeUndefined(); // it answered before
});
