import { ed25519 } from '@noble/curves/ed25519.js';
import { describe, expect, test } from 'vitest';
import type { BoardOptions } from '../../firmware-sim/board.ts';
import { CONDUCT, TRIAL_SECONDS } from '../../firmware-sim/image-slots.ts';
import { CARE_LIMITS, CARE_VERBS } from '../../src/protocol/care-messages.ts';
import { crc32 } from '../../src/protocol/crc.ts';
import { hexWord } from '../../src/protocol/fields.ts';
import { formatImage } from '../../src/protocol/firmware-image.ts';
import { plainSet, Terminal } from './terminal.ts';

const greeted = (options: BoardOptions = {}): Terminal => {
  const terminal = new Terminal({}, options);
  terminal.hello();
  return terminal;
};

/** Switches the board off and on, and says hello. */
function again(terminal: Terminal): ReturnType<Terminal['hello']> {
  terminal.board.restart();
  terminal.connect();
  return terminal.hello();
}

describe('the name', () => {
  test('is told by the next hello, and kept', () => {
    const terminal = greeted();
    expect(terminal.ask('rename to=red%20tin').fields.name).toEqual(['red tin']);
    expect(terminal.hello().name).toEqual(['red tin']);
    expect(again(terminal).name).toEqual(['red tin']);
  });

  test('that makes the answer to hello too long is refused', () => {
    const terminal = greeted();
    expect(terminal.refusal(`rename to=${'%C3%9C'.repeat(10)}`)).toBe('bad_field');
    expect(terminal.hello().name).toEqual(['Simulated board']);
  });
});

describe('clock and light', () => {
  test('the clock goes on from what it was set to, a little fast, and forgets it without power', () => {
    const terminal = greeted({ quirks: { clockDrift: 1000 } });
    expect(terminal.ask('clock').fields.utc).toEqual(['0']);
    terminal.ask('clock set=1900000000');
    terminal.clock.advance(10_000_000);
    expect(Number(terminal.ask('clock').fields.utc![0]) - 1_900_000_000).toBeCloseTo(10_012, -1);
    again(terminal);
    expect(terminal.ask('clock').fields.utc).toEqual(['0']);
  });

  test('the light is off until it is switched on', () => {
    const terminal = greeted();
    expect(terminal.ask('light').fields.light).toEqual(['off']);
    terminal.ask('light set=on');
    expect(terminal.ask('light').fields.light).toEqual(['on']);
    expect(terminal.refusal('light set=maybe')).toBe('bad_field');
  });

  test('a board without them knows no such verb', () => {
    const terminal = greeted({ build: { hasClock: false, hasLight: false } });
    expect(terminal.refusal('clock')).toBe('unknown_verb');
    expect(terminal.refusal('light')).toBe('unknown_verb');
  });
});

describe('settings', () => {
  const setting = (terminal: Terminal, at: number) =>
    CARE_VERBS.setting.answer.read(terminal.ask(`setting at=${at}`).fields);
  const named = (terminal: Terminal, name: string) => {
    const { count } = CARE_VERBS.settings.answer.read(terminal.ask('settings').fields);
    return Array.from({ length: count }, (_, i) => setting(terminal, i + 1)).find(
      (each) => each.name === name,
    )!;
  };
  const state = (terminal: Terminal) =>
    CARE_VERBS.settings.answer.read(terminal.ask('settings').fields);

  test('describe themselves, each as the protocol wants it, and there is none beyond the last', () => {
    const terminal = greeted({ build: { hasRange: true } });
    const { count } = state(terminal);
    const all = Array.from({ length: count }, (_, i) => setting(terminal, i + 1));
    expect(all.map(({ at }) => at)).toEqual(all.map((_, i) => i + 1));
    expect(new Set(all.map(({ name }) => name)).size).toBe(count);
    expect(new Set(all.map(({ kind }) => kind))).toEqual(
      new Set(['switch', 'number', 'choice', 'text']),
    );
    expect(terminal.refusal(`setting at=${count + 1}`)).toBe('bad_field');
  });

  test('are adopted together, survive loss of power, and count their revisions', () => {
    const terminal = greeted();
    terminal.ask('change name=sleep value=20');
    terminal.ask('change name=beep value=off');
    expect(terminal.ask('change name=sleep value=25').fields.changed).toEqual(['2']);
    expect(terminal.ask('adopt replaces=0').fields).toMatchObject({ revision: ['1'] });
    again(terminal);
    expect(named(terminal, 'sleep').value).toBe('25');
    expect(named(terminal, 'beep').value).toBe('off');
    expect(state(terminal)).toMatchObject({ revision: 1, changed: 0 });
  });

  test('that were not adopted are forgotten at the next hello', () => {
    const terminal = greeted();
    terminal.ask('change name=sleep value=20');
    terminal.hello();
    expect(named(terminal, 'sleep').value).toBe('10');
    expect(terminal.refusal('adopt replaces=0')).toBe('nothing_staged');
  });

  test('are not adopted over a revision that the host does not know', () => {
    const terminal = greeted();
    terminal.ask('change name=sleep value=20');
    terminal.ask('adopt replaces=0');
    terminal.ask('change name=sleep value=30');
    expect(terminal.ask('adopt replaces=0').fields).toMatchObject({
      code: ['stale_generation'],
      generation: ['1'],
    });
    expect(terminal.ask('adopt replaces=1').ok).toBe(true);
  });

  test('refuse what they cannot be, by the field that is wrong', () => {
    const terminal = greeted();
    const wrong = (request: string) => terminal.ask(`change ${request}`).fields;
    expect(wrong('name=nothing value=1')).toMatchObject({ code: ['bad_field'], field: ['name'] });
    for (const bad of ['sleep value=121', 'sleep value=1.5', 'sleep value=x', 'beep value=loud']) {
      expect(wrong(`name=${bad}`)).toMatchObject({ code: ['bad_field'], field: ['value'] });
    }
    expect(wrong(`name=owner value=${'x'.repeat(17)}`)).toMatchObject({ field: ['value'] });
    expect(state(terminal).changed).toBe(0);
  });

  test('say when a change waits for a restart', () => {
    const terminal = greeted();
    terminal.ask('change name=sleep value=20');
    expect(terminal.ask('adopt replaces=0').fields.restart).toEqual(['no']);
    terminal.ask('change name=radio value=far');
    expect(terminal.ask('adopt replaces=1').fields.restart).toEqual(['yes']);
  });

  test('all of them at their longest are kept', () => {
    const terminal = greeted({ build: { hasRange: true } });
    const longest = { sleep: '120', beep: 'off', angles: 'degrees', radio: 'near' };
    const rest = {
      owner: 'x'.repeat(16),
      light_off: '300',
      range_constant: '-0.9999',
      range_scale: '-19999',
    };
    for (const [name, value] of Object.entries({ ...longest, ...rest })) {
      expect(terminal.ask(`change name=${name} value=${value}`).ok).toBe(true);
    }
    terminal.ask('adopt replaces=0');
    again(terminal);
    expect(named(terminal, 'owner').value).toBe('x'.repeat(16));
    expect(named(terminal, 'range_constant').value).toBe('-0.9999');
  });
});

describe('firmware', () => {
  const HARDWARE = 'simulated 1';
  const image = (version: string, conduct: number = CONDUCT.healthy, length = 300) =>
    formatImage({
      hardware: HARDWARE,
      version,
      program: Uint8Array.from({ length }, (_, i) => (i === 0 ? conduct : (7 * i) % 256)),
    });
  const crcOf = (file: Uint8Array) => hexWord(crc32(file));
  const report = (terminal: Terminal) => CARE_VERBS.image.answer.read(terminal.ask('image').fields);

  function put(terminal: Terminal, file: Uint8Array, from = 0, to = file.length): void {
    for (let at = from; at < to; at += CARE_LIMITS.put) {
      const bytes = file.subarray(at, Math.min(at + CARE_LIMITS.put, to));
      const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, '0')).join('');
      expect(terminal.ask(`put at=${at} bytes=${hex.toUpperCase()}`).ok).toBe(true);
    }
  }

  function load(terminal: Terminal, file: Uint8Array): void {
    terminal.ask(`load size=${file.length} crc=${crcOf(file)}`);
    put(terminal, file);
  }

  /** Loads, checks and swaps in; the board has started again when this returns. */
  function install(terminal: Terminal, file: Uint8Array): void {
    load(terminal, file);
    expect(terminal.ask(`verify crc=${crcOf(file)}`).ok).toBe(true);
    expect(terminal.ask(`swap crc=${crcOf(file)}`).ok).toBe(true);
    terminal.connect();
  }

  test('is loaded, checked, swapped in, confirmed, and stays', () => {
    const terminal = greeted();
    expect(report(terminal)).toMatchObject({ running: '1.0', trial: false, state: 'empty' });
    install(terminal, image('1.1'));
    expect(terminal.hello().firmware).toEqual(['1.1']);
    expect(report(terminal)).toMatchObject({ trial: true, state: 'checked', spare: '1.0' });
    expect(terminal.ask('confirm firmware=1.1').ok).toBe(true);
    expect(again(terminal).firmware).toEqual(['1.1']);
    expect(report(terminal)).toMatchObject({ running: '1.1', trial: false, spare: '1.0' });
  });

  test('that was never confirmed is undone at the next start', () => {
    const terminal = greeted();
    install(terminal, image('1.1'));
    terminal.hello();
    expect(again(terminal).firmware).toEqual(['1.0']);
    expect(report(terminal)).toMatchObject({ trial: false, state: 'checked', spare: '1.1' });
  });

  test('that nobody confirms is undone by the board itself when the time is up', () => {
    const terminal = greeted();
    install(terminal, image('1.1', CONDUCT.silent));
    expect(() => terminal.hello()).toThrow('No answer');
    terminal.clock.advance(1000 * TRIAL_SECONDS);
    terminal.connect();
    expect(terminal.hello().firmware).toEqual(['1.0']);
  });

  test('that restarts in a loop is undone by its own restart', () => {
    const terminal = greeted();
    install(terminal, image('1.1', CONDUCT.restarting));
    expect(terminal.hello().firmware).toEqual(['1.0']);
  });

  test('can be put back to the one before, by the same way', () => {
    const terminal = greeted();
    install(terminal, image('1.1'));
    terminal.hello();
    terminal.ask('confirm firmware=1.1');
    const { crc } = report(terminal);
    expect(terminal.ask(`swap crc=${crc}`).fields.firmware).toEqual(['1.0']);
    terminal.connect();
    expect(terminal.hello().firmware).toEqual(['1.0']);
    terminal.ask('confirm firmware=1.0');
    expect(again(terminal).firmware).toEqual(['1.0']);
  });

  test('loading goes on where it was after a broken link', () => {
    const terminal = greeted();
    const file = image('1.1');
    const asked = `load size=${file.length} crc=${crcOf(file)}`;
    terminal.ask(asked);
    put(terminal, file, 0, 128);
    terminal.board.dropAfter(0);
    terminal.connect();
    terminal.hello();
    expect(report(terminal)).toMatchObject({ state: 'partial', written: 128 });
    expect(terminal.ask(asked).fields.written).toEqual(['128']);
    put(terminal, file, 128);
    expect(report(terminal).state).toBe('whole');
    expect(terminal.ask(`verify crc=${crcOf(file)}`).ok).toBe(true);
  });

  test('bytes that leave a gap are refused, and those that came before are passed over', () => {
    const terminal = greeted();
    const file = image('1.1');
    expect(terminal.refusal('put at=0 bytes=00')).toBe('nothing_staged');
    terminal.ask(`load size=${file.length} crc=${crcOf(file)}`);
    put(terminal, file, 0, 64);
    expect(terminal.ask('put at=65 bytes=00').fields).toMatchObject({ field: ['at'] });
    expect(terminal.ask('put at=63 bytes=0000').fields).toMatchObject({ field: ['at'] });
    expect(terminal.ask('put at=0 bytes=FFFF').fields.written).toEqual(['64']);
    put(terminal, file, 64);
    expect(terminal.ask(`verify crc=${crcOf(file)}`).ok).toBe(true);
  });

  test('that is damaged, for other hardware, too large, or unchecked does not come to run', () => {
    const terminal = greeted();
    const file = image('1.1');
    expect(terminal.ask(`load size=9000 crc=00000000`).fields).toMatchObject({ field: ['size'] });
    expect(terminal.refusal(`swap crc=${crcOf(file)}`)).toBe('not_checked');
    load(terminal, file);
    expect(terminal.refusal(`swap crc=${crcOf(file)}`)).toBe('not_checked');
    expect(terminal.refusal('verify crc=00000000')).toBe('crc_mismatch');
    const other = formatImage({ hardware: 'other', version: '9', program: Uint8Array.of(0) });
    load(terminal, other);
    expect(terminal.ask(`verify crc=${crcOf(other)}`).fields).toMatchObject({
      field: ['hardware'],
    });
    const odd = image('1.2').fill(0, 60, 64);
    load(terminal, odd);
    expect(terminal.ask(`verify crc=${crcOf(odd)}`).fields).toMatchObject({ field: ['header'] });
    expect(again(terminal).firmware).toEqual(['1.0']);
  });

  test('is signed for, where the board demands it', () => {
    const secret = Uint8Array.from({ length: 32 }, (_, i) => i);
    const signingKey = ed25519.getPublicKey(secret);
    const terminal = greeted({ build: { signingKey } });
    const program = Uint8Array.of(CONDUCT.healthy, 1, 2, 3);
    const bare = formatImage({ hardware: HARDWARE, version: '1.1', program });
    load(terminal, bare);
    expect(terminal.ask(`verify crc=${crcOf(bare)}`).fields).toMatchObject({
      field: ['signature'],
    });
    const forged = formatImage({ hardware: HARDWARE, version: '1.1', program }, (part) =>
      ed25519.sign(
        part,
        secret.map((byte) => byte + 1),
      ),
    );
    load(terminal, forged);
    expect(terminal.ask(`verify crc=${crcOf(forged)}`).fields).toMatchObject({
      field: ['signature'],
    });
    const signed = formatImage({ hardware: HARDWARE, version: '1.1', program }, (part) =>
      ed25519.sign(part, secret),
    );
    install(terminal, signed);
    expect(terminal.hello().firmware).toEqual(['1.1']);
  });

  test('while it is on trial, the way back is not written over', () => {
    const terminal = greeted();
    install(terminal, image('1.1'));
    terminal.hello();
    const next = image('1.2');
    expect(terminal.refusal(`load size=${next.length} crc=${crcOf(next)}`)).toBe('busy');
    expect(terminal.refusal('confirm firmware=1.2')).toBe('bad_field');
    terminal.ask('confirm firmware=1.1');
    load(terminal, next);
    expect(report(terminal)).toMatchObject({ state: 'whole' });
  });

  test('does on confirmation what its header says, and not before', () => {
    const terminal = greeted();
    terminal.ask('change name=sleep value=20');
    terminal.ask('adopt replaces=0');
    terminal.seal(plainSet({ 2: 0.5 }), 0);
    const file = formatImage({
      ...{ hardware: HARDWARE, version: '2.0', program: Uint8Array.of(CONDUCT.healthy) },
      ...{ resetsSettings: true, replacesCoefficients: true },
    });
    install(terminal, file);
    expect(terminal.hello().generation).toEqual(['1']);
    terminal.ask('confirm firmware=2.0');
    expect(terminal.hello().generation).toEqual(['2']);
    expect(terminal.ask('settings').fields.revision).toEqual(['2']);
    expect(terminal.ask('coefficients which=previous').fields.generation).toEqual(['1']);
  });

  test('a board that takes none knows no such verb', () => {
    const terminal = greeted({ build: { takesImages: false, hasSettings: false } });
    expect(terminal.hello().can).toEqual(['kept', 'trigger']);
    for (const verb of ['image', 'load size=1 crc=00000000', 'settings', 'setting at=1']) {
      expect(terminal.refusal(verb)).toBe('unknown_verb');
    }
  });
});
