import { describe, expect, it } from 'vitest';
import type { PlaceState } from '../../../src/steps/place-state.ts';
import { signalOf, toneOf } from '../../../src/steps/workshop/kit-signals.ts';
import { BenchInProcess } from '../bench-in-process.ts';

describe('the tone of a kit', () => {
  it('is another for each of 20, a whole tone at least above the one before, where ears and small loudspeakers are', () => {
    const tones = Array.from({ length: 20 }, (_, i) => toneOf(i));
    tones.slice(1).forEach((tone, i) => {
      expect(12 * Math.log2(tone / tones[i]!)).toBeGreaterThan(1.99);
    });
    expect(tones[0]).toBeGreaterThan(200);
    expect(tones.at(-1)).toBeLessThan(4000);
    expect(toneOf(20)).toBe(toneOf(0));
  });

  it('has the tenth kit at the A above the middle C and an octave, by the concert pitch of ISO 16', () => {
    expect(toneOf(9)).toBeCloseTo(880, 9);
  });
});

describe('what is told of a board', () => {
  const state = async () => (await BenchInProcess.opened()).state;
  const told = (change: Partial<PlaceState>, before: PlaceState) =>
    signalOf(before, { ...before, ...change });

  it('is nothing while nothing happens to it', async () => {
    const before = await state();
    expect(told({ said: 'anything' }, before)).toBeUndefined();
  });

  it('is each reading once, and its trouble before its reading', async () => {
    const before = await state();
    const reading = { kind: 'taken', words: 'Taken.' } as const;
    const trouble = { heading: 'The board does not answer', message: '' };
    expect(told({ told: reading }, before)).toBe(reading);
    expect(signalOf({ ...before, told: reading }, { ...before, told: reading })).toBeUndefined();
    expect(told({ told: reading, trouble }, before)).toEqual({
      kind: 'refused',
      words: 'The board does not answer.',
    });
  });

  it('is a lost link, as trouble, and not its coming back', async () => {
    const before = await state();
    const linked = { ...before, link: { state: 'linked' } as const };
    expect(told({ link: { state: 'lost', end: 'unplugged' } }, linked)).toMatchObject({
      kind: 'refused',
      words: expect.stringMatching(/^Link lost/),
    });
    expect(told({ link: { state: 'linked' } }, before)).toBeUndefined();
  });

  it('is a proof that passed as the end, whatever was said of its last reading, and not again when the logbook is read anew', async () => {
    const on = await BenchInProcess.opened();
    await on.ask('link', 'begin', 'take rest', 'fit', 'write');
    const before = on.state;
    await on.ask('prove');
    const last = { kind: 'done', words: 'All readings are in.' } as const;
    expect(signalOf(before, { ...on.state, told: last })).toEqual({
      kind: 'done',
      words: 'Proven.',
    });
    expect(signalOf(on.state, structuredClone(on.state))).toBeUndefined();
    expect(signalOf(before, { ...before, told: last })?.kind).toBe('whole');
  });
});
