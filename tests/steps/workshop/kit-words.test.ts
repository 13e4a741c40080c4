import { describe, expect, it } from 'vitest';
import { STAGES, type StageName } from '../../../src/records/workshop-notes.ts';
import type { KitResult, KitRow, WorkshopNow } from '../../../src/steps/workshop/roster.ts';
import {
  kitName,
  laneOf,
  laneWords,
  resultWords,
  tally,
} from '../../../src/steps/workshop/kit-words.ts';

const stage = (name: StageName, more: Partial<KitRow['stage']> = {}): KitRow['stage'] => ({
  name,
  words: name,
  step: STAGES.indexOf(name),
  ...more,
});

const ROW: KitRow = {
  kit: 'k',
  alias: [],
  serial: 'A7',
  builder: 'Ida',
  place: '3',
  whereabouts: 'linked',
  stage: stage('linked'),
  shape: 'now',
  remarks: [],
  overruled: [],
  twins: [],
};
const row = (change: Partial<KitRow> = {}) => ({ ...ROW, ...change }) as KitRow;

const result: KitResult = {
  generation: 2,
  sealed: '2031-05-12T12:00:00.000Z',
  crc: '00000000',
  tolerance: { degrees: 1 },
  judged: 'good',
  meanSpread: 0.314,
  azimuth: 0.166,
  inclination: 0.05,
  readings: 56,
  proof: { passed: true, holds: true, readings: 12 },
  temperature: { coldest: -2.04, warmest: 5 },
};

describe('the lane of a kit', () => {
  it('has what is done behind it, and the one place that it is at', () => {
    const cells = (name: StageName) => laneOf(stage(name)).cells.join(' ');
    expect(cells('not linked yet')).toBe('now ahead ahead ahead ahead ahead');
    expect(cells('linked')).toBe('done now ahead ahead ahead ahead');
    expect(cells('assembly checked')).toBe('done done now ahead ahead ahead');
    expect(cells('taking readings')).toBe('done done now ahead ahead ahead');
    expect(cells('judged')).toBe('done done done done now ahead');
    expect(cells('written')).toBe('done done done done done now');
    expect(cells('proven')).toBe('done done done done done done');
  });

  it('is filled by the readings that are there, never beyond its end', () => {
    const part = (done: number, of: number) =>
      laneOf(stage('taking readings', { progress: { done, of } })).part;
    expect(part(14, 56)).toBe(0.25);
    expect(part(60, 56)).toBe(1);
    expect(part(0, 0)).toBe(0);
    expect(laneOf(stage('linked')).part).toBe(0);
  });

  it('says trouble before work, work before the stage, and where a board is that is not here', () => {
    const trouble = 'not good enough';
    const work = 'Fitting…';
    expect(laneWords(row({ trouble, work, next: 'Aim' }))).toEqual({ words: 'Not good enough' });
    expect(laneWords(row({ work, next: 'Aim' }))).toEqual({ words: work });
    expect(laneWords(row({ next: 'Aim north' }))).toEqual({
      words: 'Linked',
      note: 'next: aim north',
    });
    const seen = { whereabouts: 'elsewhere', asOf: '2031-05-12T12:00:00.000Z' } as const;
    expect(laneWords(row({ ...seen, trouble })).note).toMatch(/^at another computer, as of 12 May/);
    const overruled = [{ field: 'builder' as const, value: 'Gus', time: '' }];
    expect(laneWords(row({ next: 'Aim north', overruled })).note).toBe('or is its builder Gus?');
    expect(laneWords(row({ stage: stage('proven'), result })).note).toBe('azimuth ±0.17°');
  });

  it('names a kit by whoever builds it, else its board, else its place', () => {
    expect(kitName(row())).toBe('Ida');
    expect(kitName(row({ builder: '' }))).toBe('A7');
    expect(kitName(row({ builder: '', serial: '' }))).toBe('Place 3');
    expect(kitName(row({ builder: '', serial: '', place: '' }))).toBe('A kit without a name');
  });
});

describe('the line over the roster', () => {
  const now = (kits: readonly KitRow[], counts: Partial<WorkshopNow['counts']>): WorkshopNow => ({
    paper: 'p',
    terms: { name: 'W', place: '', day: '2031-05-12', tolerance: { degrees: 1 } },
    kits,
    takenOff: [],
    remarks: [],
    counts: { kits: kits.length, linked: 0, written: 0, proven: 0, trouble: 0, ...counts },
  });
  const words = (of: WorkshopNow) => tally(of).map((each) => `${each.shape}: ${each.words}`);

  it('says where help is wanted first, by the places a tutor walks to, and leaves out what is none', () => {
    const bad = (place: string) => row({ place, trouble: 'x' });
    expect(
      words(now([bad('2'), row(), bad('Door')], { linked: 3, proven: 1, trouble: 2 })),
    ).toEqual(['bad: 2 in trouble: 2 and Door', 'now: 2 under way', 'good: 1 proven']);
    expect(words(now([row({ stage: stage('not linked yet') })], {}))).toEqual([
      'ahead: 1 not linked yet',
    ]);
    expect(words(now([], {}))).toEqual([]);
  });

  it('names no more kits in trouble than can be read across a room', () => {
    const kits = Array.from({ length: 9 }, (_, i) => row({ place: String(i + 1), trouble: 'x' }));
    expect(words(now(kits, { linked: 9, trouble: 9 }))[0]).toBe(
      'bad: 9 in trouble: 1, 2, 3, 4, 5, 6 and 3 more',
    );
  });
});

describe('a line of the results', () => {
  const verdict = (change: Partial<KitRow>) => {
    const { standing, verdict } = resultWords(row(change));
    return `${standing}: ${verdict}`;
  };
  const proven = stage('proven');
  const { generation: _, sealed: __, proof: ___, ...fitted } = result;

  it('gives figures with units, and halves of intervals as such', () => {
    expect(resultWords(row({ stage: proven, result }))).toEqual({
      standing: 'good',
      verdict: 'Proven on 12 fresh readings',
      azimuth: '±0.17°',
      inclination: '±0.05°',
      spread: '0.31°',
      temperature: '−2.0 to 5.0\u00A0°C',
      written: 'generation 2, 12 May 2031',
    });
  });

  it('tells one temperature once', () => {
    const same = { ...result, temperature: { coldest: 19.98, warmest: 20.04 } };
    expect(resultWords(row({ result: same })).temperature).toBe('20.0\u00A0°C');
  });

  it('calls nothing proven that is not, nor leaves out what speaks against it since', () => {
    expect(verdict({})).toBe('ahead: No result: linked');
    expect(verdict({ trouble: 'a fault in the assembly' })).toBe('bad: No result: a fault in the assembly'); // prettier-ignore
    expect(verdict({ result: fitted })).toBe('watch: Fitted, not written');
    expect(verdict({ result: { ...fitted, judged: 'bad' } })).toBe(
      'bad: Not good enough, not written',
    );
    expect(verdict({ stage: stage('written'), result: { ...fitted, generation: 2 } })).toBe(
      'watch: Written, not proven',
    );
    const failed = { ...result, proof: { passed: false, holds: true, readings: 12 } };
    expect(verdict({ stage: stage('written'), result: failed })).toBe('bad: Proof not passed');
    const other = { ...result, proof: { passed: true, holds: false, readings: 12 } };
    expect(verdict({ stage: stage('written'), result: other })).toBe(
      'bad: Proven on 12 fresh readings, but not for the tolerance',
    );
    const against = 'a check in the field was not passed';
    expect(verdict({ stage: proven, result: { ...result, against } })).toBe(
      'bad: Proven on 12 fresh readings, but a check in the field was not passed',
    );
    // that its cable was pulled afterwards says nothing of what was proven
    expect(verdict({ stage: proven, result, trouble: 'Link lost: unplugged' })).toBe(
      'good: Proven on 12 fresh readings',
    );
    expect(verdict({ stage: proven, result: { ...result, judged: 'bad' } })).toBe(
      'bad: Proven on 12 fresh readings, but not good enough for the tolerance',
    );
  });
});
