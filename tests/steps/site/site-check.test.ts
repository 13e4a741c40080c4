import { beforeAll, describe, expect, it } from 'vitest';
import { radians } from '../../../src/calib/geometry.ts';
import type { SiteCheckRecord } from '../../../src/records/entries.ts';
import { courseOf } from '../../../src/steps/logbook/board-course.ts';
import { earthField } from '../../../src/steps/site/earth-field.ts';
import { checkSite, openCheck, READINGS, type Spot } from '../../../src/steps/site/site-check.ts';
import { siteVerdict } from '../../../src/steps/site/site-words.ts';
import { BenchInProcess } from '../bench-in-process.ts';

/** A made-up place where the dip is that of the simulated world, 65°, in 2031; and one where it is far from that. */
const PLACE = { latitude: 49.35, longitude: 10, height: 0 };
const FAR = { latitude: 0, longitude: 10, height: 0 };

/** Checks both spots, or one, and gives what was written of the last. */
async function check(on: BenchInProcess, ...spots: Spot[]): Promise<SiteCheckRecord> {
  const { bench, place } = on;
  const today = () => bench.logbook.now();
  for (const spot of spots) {
    const outcome = await on.run(checkSite({ place, site: bench.site, today }, spot));
    expect(outcome).toEqual({ written: true });
  }
  expect(on.state.trouble).toBeUndefined();
  return on.state.history.site.newest!;
}

const named = ({ figures }: SiteCheckRecord, part: string) =>
  figures.filter(({ name }) => name.includes(part));
const off = ({ figures }: SiteCheckRecord) =>
  figures.filter(({ good }) => !good).map(({ name }) => name);

describe('a board with no calibration', () => {
  it('finds nothing at a clean site, and says how little that is', async () => {
    const on = await BenchInProcess.opened();
    await on.ask('link');
    const first = await check(on, 'first');
    expect(first).toMatchObject({ verdict: 'open', spots: [{ n: READINGS, moved: 0 }] });
    expect(siteVerdict(first).words).toContain('Walk a metre');
    const both = await check(on, 'second');
    expect(both.verdict).toBe('nothing found');
    expect(both.spots).toHaveLength(2);
    expect(both.spots[0]).toEqual(first.spots[0]);
    expect(both).not.toHaveProperty('through');
    expect(named(both, 'dip')).toEqual([]);
    expect(both.blindTo.join(' ')).toContain('neither dip nor strength can be told');
    expect(siteVerdict(both).heading).toBe('Nothing found, which does not say much');
  });

  it('finds steel that changes the field over a metre', async () => {
    const on = await BenchInProcess.opened({ disturbance: 30 });
    await on.ask('link');
    // the steel of this board's world stands to the south; held towards it, its arm is nearest to it
    await on.board.hold({ azimuth: 180, inclination: 0, roll: 0 });
    const both = await check(on, 'first', 'second');
    expect(both.verdict).toBe('disturbed');
    expect(off(both)).toEqual([
      'change of the field’s length from spot to spot',
      'change of the field’s direction and length from spot to spot',
    ]);
    expect(siteVerdict(both).words).toContain('near one of the spots');
  });

  it('finds steel that changes the direction of the field and leaves its raw length', async () => {
    const on = await BenchInProcess.opened({ seed: 3, disturbance: 40 });
    await on.ask('link');
    const both = await check(on, 'first', 'second');
    expect(off(both)).toEqual(['change of the field’s direction and length from spot to spot']);
    expect(siteVerdict(both).words).toContain('or the board was turned in between');
  });

  it('compares nothing where it was held otherwise at the second spot', async () => {
    const on = await BenchInProcess.opened({ disturbance: 30 });
    await on.ask('link');
    await check(on, 'first');
    await on.board.hold({ azimuth: 0, inclination: 20, roll: 0 });
    const both = await check(on, 'second');
    expect(both.verdict).toBe('open');
    expect(named(both, 'change')).toEqual([]);
    expect(both.blindTo.join(' ')).toMatch(/held otherwise, by (19|20|21)°/);
    expect(siteVerdict(both).heading).toBe('The second spot was not compared');
  });

  it('is not believed while it trembles, and nothing is written', async () => {
    const on = await BenchInProcess.opened();
    await on.ask('link');
    on.board.quirk({ tremor: 30 });
    await on.board.hold({ azimuth: 0, inclination: 0, roll: 0 });
    const { bench, place } = on;
    const today = () => bench.logbook.now();
    const outcome = await on.run(checkSite({ place, site: bench.site, today }, 'first'));
    expect(outcome).toMatchObject({ written: false });
    expect(JSON.stringify(outcome)).toContain('hardly ever still');
    expect(on.state.history.site.newest).toBeUndefined();
    expect((await on.logbook()).some(({ kind }) => kind === 'site checked')).toBe(false);
  });

  it('says that nothing was written where another is under way, though an older one stands there', async () => {
    const on = await BenchInProcess.opened();
    await on.ask('link');
    const { bench, place } = on;
    const today = () => bench.logbook.now();
    const one = () => checkSite({ place, site: bench.site, today }, 'first');
    await on.run(one());
    const older = on.state.history.site.newest;
    const [begun, inTheWay] = await on.run(Promise.all([one(), one()]));
    expect(older).toBeDefined();
    expect([begun, inTheWay]).toEqual([{ written: true }, { written: false }]);
  });

  it('has nothing to go on with in a check at no spot, as a file may have brought it in', async () => {
    const on = await BenchInProcess.opened();
    await on.ask('link');
    await check(on, 'first');
    const newest = on.state.history.site.newest!;
    const having = (spots: SiteCheckRecord['spots']) => ({
      state: {
        ...on.state,
        history: { ...on.state.history, site: { newest: { ...newest, spots } } },
      },
    });
    const now = on.bench.logbook.now();
    expect(openCheck(having(newest.spots), now)).toBeDefined();
    expect(openCheck(having([]), now)).toBeUndefined();
  });

  it('begins anew where the first spot is from another hour', async () => {
    const on = await BenchInProcess.opened();
    await on.ask('link');
    await check(on, 'first');
    await on.pass(31 * 60_000);
    expect(await check(on, 'second')).toMatchObject({ verdict: 'open', spots: [{}] });
  });
});

describe('a calibrated board', () => {
  /** Calibrated at the place that is kept, the site checked before; field strength one of the simulated world. */
  let calibrated: BenchInProcess;

  beforeAll(async () => {
    const on = await BenchInProcess.opened();
    await on.bench.site.keepPlace(PLACE, 'typed');
    await on.ask('link');
    await check(on, 'first', 'second');
    await on.ask('begin', 'take rest', 'fit', 'write', 'prove', 'end');
    calibrated = on;
  }, 60_000);

  /** The same bench in a page just opened, its world as it is set. */
  async function linked(
    world: {
      dip?: number;
      disturbance?: number;
      strength?: number;
    } = {},
  ): Promise<BenchInProcess> {
    const on = await calibrated.copy();
    await on.reload();
    if (on.state.link.state !== 'linked') await on.ask('link');
    const { strength, ...settings } = world;
    await on.board.adjust(settings);
    if (strength !== undefined) on.board.quirk({ fieldStrength: strength });
    return on;
  }

  it('finds a clean site clean, and tells its strength, since the place of its calibration is known', async () => {
    const on = await linked();
    const both = await check(on, 'first', 'second');
    expect(off(both)).toEqual([]);
    expect(both.verdict).toBe('clean');
    expect(both.through).toMatchObject({ generation: 1 });
    expect(named(both, 'strength')).toHaveLength(2);
    const { dip, field } = both.spots[0]!;
    // the fit tells the dip of the simulated world, 65°, to some hundredths of a degree
    expect(Math.abs(dip!.mean - radians(65))).toBeLessThan(radians(0.2));
    expect(Math.abs(field.mean - 1)).toBeLessThan(0.01);
    expect(both.blindTo.join(' ')).toContain('level and square to the field');
    const [told] = courseOf(await on.logbook());
    expect(told).toMatchObject({
      title: expect.stringMatching(/^Site checked: clean/),
      mark: 'good',
    });
  });

  it('takes a day that no model covers, allows more for it, and says so', async () => {
    const on = await linked();
    const both = await check(on, 'first');
    expect(both.expected).toMatchObject({ model: 'WMM-2025', valid: false });
    expect(both.blindTo.join(' ')).toContain('covers 2025 to the end of 2029, and not today');
    // 1.33 years out, a tenth of a degree for each
    expect(named(both, 'less that of the model')[0]!.limit).toBeCloseTo(1.133, 2);
  });

  it('finds steel near by, by the change over a metre and by the dip', async () => {
    const both = await check(await linked({ disturbance: 40 }), 'first', 'second');
    expect(both.verdict).toBe('disturbed');
    expect(off(both)).toContain('dip here less that of the model');
    expect(off(both).filter((name) => name.startsWith('change'))).not.toEqual([]);
    expect(siteVerdict(both).words).toContain('near one of the spots');
  });

  it('finds a dip that is the same at both spots and not that of the model, and names what it may be', async () => {
    const both = await check(await linked({ dip: 62 }), 'first', 'second');
    expect(both.verdict).toBe('disturbed');
    expect(off(both)).toEqual([
      'dip here less that of the model',
      'dip at the second spot less that of the model',
    ]);
    expect(named(both, 'less that of the model')[0]!.value).toBeCloseTo(-3, 0);
    expect(siteVerdict(both).words).toContain('coefficients do not hold any more');
  });

  it('finds a field that is too strong for the place, which only its known calibration place lets it', async () => {
    const both = await check(await linked({ strength: 1.05 }), 'first', 'second');
    expect(off(both)).toEqual([
      'strength here against that of the model',
      'strength at the second spot against that of the model',
    ]);
  });

  it('takes another part of the world for clean where its own field is met there, though lengths differ', async () => {
    const there = earthField(FAR, new Date('2031-05-01'));
    const made = earthField(PLACE, new Date('2031-05-01'));
    const on = await linked({
      dip: (there.dip * 180) / Math.PI,
      strength: there.strength / made.strength,
    });
    await on.bench.site.keepPlace(FAR, 'typed');
    const both = await check(on, 'first', 'second');
    expect(both.spots[0]!.field.mean).toBeLessThan(0.75);
    expect(off(both)).toEqual([]);
    expect(both.verdict).toBe('clean');
  });

  it('cannot call a site clean where its place is not known', async () => {
    const on = await linked();
    await on.bench.site.forgetPlace();
    const both = await check(on, 'first', 'second');
    expect(both.verdict).toBe('nothing found');
    expect(named(both, 'model')).toEqual([]);
    expect(both.blindTo.join(' ')).toContain('is not known');
  });

  it('holds no strength against the model where no check says where it was calibrated', async () => {
    const on = await BenchInProcess.opened();
    await on.bench.site.keepPlace(PLACE, 'typed');
    await on.ask('link', 'begin', 'take rest', 'fit', 'write', 'prove', 'end');
    const both = await check(on, 'first', 'second');
    expect(both.verdict).toBe('clean');
    expect(named(both, 'strength')).toEqual([]);
    expect(both.blindTo.join(' ')).toContain('relative to the calibration');
  }, 60_000);
});
