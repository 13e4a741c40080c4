import { describe, expect, it } from 'vitest';
import { emptyWords } from '../../src/steps/bench-words.ts';
import { boardFacts } from '../../src/steps/board-words.ts';
import { judgementOf } from '../../src/steps/judgement.ts';
import { KINDS, linkHelp, SYSTEMS } from '../../src/steps/link-help.ts';
import { WAY } from '../../src/steps/next-step.ts';
import { BenchInProcess } from './bench-in-process.ts';

describe('what the screen says', () => {
  it('never lets a line end part ± from its number', async () => {
    const on = await BenchInProcess.opened();
    await on.ask('link', 'begin', 'take rest', 'fit');
    const { verdict, findings } = judgementOf(on.state.history)!;
    const all = [verdict, ...findings.flatMap(({ figure, words }) => [figure, words])].join('\n');
    expect(all).toMatch(/±\u00a0\d/);
    expect(all).not.toMatch(/± /);
  });

  it('does not say that no board is linked beside one that is', () => {
    expect(emptyWords(false)).toBe('No board linked');
    expect(emptyWords(true)).toBe('A new link');
  });

  it('does not go on saying what was done with a board that was put away', async () => {
    const on = await BenchInProcess.opened();
    await on.ask('link', 'begin', 'leave');
    expect(on.state.said).toBe('The calibration is left.');
    await on.ask('unlink');
    expect(on.state.said).toBe('');
  });

  it('says nothing of readings of no calibration where there is none', async () => {
    const on = await BenchInProcess.opened();
    await on.ask('link');
    const saved = boardFacts(on.state.history).find(({ name }) => name.startsWith('Saved'))!;
    expect(saved.value).not.toContain('of no calibration');
  });

  it('names the command that serves simulated boards at an address, and offers no import that is not there', () => {
    for (const system of SYSTEMS) {
      const { next } = linkHelp('unreachable', 'socket', system);
      expect(next.join(' ')).toContain('npm run -s sim -- --ws 4180');
      for (const kind of KINDS) {
        expect(linkHelp('unsupported', kind, system).next.join(' ')).not.toContain('import');
      }
    }
  });

  it('calls sightings sightings, and says what one is', () => {
    const take = WAY.find(({ place }) => place === 'Take')!;
    expect(take.words).toContain('14 sightings: four readings along one line each');
  });
});
