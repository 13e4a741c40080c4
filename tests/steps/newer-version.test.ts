import { describe, expect, it } from 'vitest';
import { NewerVersion, type OtherPages } from '../../src/steps/newer-version.ts';

/** A page among others, and what was done to it. */
function page(others: OtherPages = { pages: 0, busy: 0 }) {
  const done: string[] = [];
  const world = { others };
  const newer = new NewerVersion({
    current: '1.0.0+00000000',
    setBusy: (busy) => void done.push(busy ? 'busy' : 'free'),
    others: async () => world.others,
    take: () => void done.push('take'),
    reload: () => void done.push('reload'),
  });
  const settled = () => new Promise((resolve) => setTimeout(resolve));
  return { newer, done, world, settled };
}

describe('a newer version', () => {
  it('is not spoken of before it is here', async () => {
    const { newer, done, settled } = page();
    newer.setBusy('at work');
    newer.setBusy();
    await newer.use();
    await settled();
    expect(newer.notice).toBeUndefined();
    expect(done).toEqual(['busy', 'free']);
  });

  it('is offered, and taken when a person says so and not before', async () => {
    const { newer, done, settled } = page();
    newer.found();
    await settled();
    expect(newer.notice?.offer).toBe('Use it now');
    expect(done).toEqual([]);
    await newer.use();
    expect(done).toEqual(['take']);
    newer.taken();
    expect(done).toEqual(['take', 'reload']);
  });

  it('is not to be had while something is being done here', async () => {
    const { newer, done, settled } = page();
    newer.found();
    newer.setBusy('at work');
    await settled();
    expect(newer.notice?.offer).toBeUndefined();
    expect(newer.notice?.words).toContain('being done here');
    await newer.use();
    expect(done).toEqual(['busy']);
  });

  it('waits while something of the logbook is in the memory of the page alone', async () => {
    const { newer, settled } = page();
    newer.found();
    newer.setBusy('in memory');
    await settled();
    expect(newer.notice?.offer).toBeUndefined();
    expect(newer.notice?.words).toContain('would be lost');
    newer.setBusy();
    await settled();
    expect(newer.notice?.offer).toBe('Use it now');
  });

  it('is not taken when another page has begun something since it was offered', async () => {
    const { newer, done, world, settled } = page({ pages: 1, busy: 0 });
    newer.found();
    await settled();
    expect(newer.notice?.offer).toBe('Use it now');
    expect(newer.notice?.words).toContain('the other tab');
    world.others = { pages: 1, busy: 1 };
    await newer.use();
    expect(done).toEqual([]);
    expect(newer.notice?.words).toContain('another tab');
  });

  it('that was taken in another page waits here until what is being done is done', async () => {
    const { newer, done } = page({ pages: 1, busy: 0 });
    newer.setBusy('at work');
    newer.taken();
    expect(newer.notice?.heading).toBe('A newer version is in use');
    expect(done).toEqual(['busy']);
    newer.setBusy();
    expect(done).toEqual(['busy', 'free', 'reload']);
  });

  it('is told of to those who listen, until they do no more', async () => {
    const { newer, settled } = page();
    let told = 0;
    const end = newer.subscribe(() => told++);
    newer.found();
    await settled();
    expect(told).toBe(1);
    end();
    await newer.look();
    expect(told).toBe(1);
  });
});
