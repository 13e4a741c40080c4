import { describe, expect, it } from 'vitest';
import { KINDS } from '../../../firmware-sim/kinds.ts';
import { randomStream } from '../../../firmware-sim/random.ts';
import { allMountings } from '../../../src/calib/model.ts';
import {
  BOARD_FAULTS,
  type Attitude,
  type BoardFault,
  type SimulatorSettings,
} from '../../../src/protocol/simulator.ts';
import type { AssemblyFault, AssemblyPose } from '../../../src/records/entries.ts';
import {
  FALSE_ALARM,
  judgeAssembly,
  noiseOf,
} from '../../../src/steps/assembly/assembly-judgement.ts';
import { LIMITS } from '../../../src/steps/assembly/assembly-limits.ts';
import { FOR_NOISE } from '../../../src/steps/assembly/chip-looks.ts';
import { ASSEMBLY_FAULTS, findingWords } from '../../../src/steps/assembly/finding-words.ts';
import { POSE } from '../../../src/steps/assembly/poses.ts';
import { LookedAt } from './looking.ts';

const DECLARED = { accMounting: '-x-y-z', magMounting: '+y-x+z' };

/** The one finding that each fault of a simulated board is to give: what, of which chip, on which of its axes. */
const FOUND: Record<Exclude<BoardFault, 'none'>, [AssemblyFault, ('acc' | 'mag')?, string?]> = {
  'acc-silent': ['no answer', 'acc'],
  'mag-silent': ['no answer', 'mag'],
  'acc-stuck': ['stuck', 'acc', 'y'],
  'mag-stuck': ['stuck', 'mag', 'z'],
  'acc-clipped': ['clipped', 'acc', 'x'],
  'mag-clipped': ['clipped', 'mag', 'x'],
  'mag-full': ['end of range'],
  'acc-noisy': ['noisy', 'acc', 'y'],
  'mag-noisy': ['noisy', 'mag', 'y'],
  'acc-quiet': ['quiet', 'acc'],
  'mag-quiet': ['quiet', 'mag'],
  'acc-swapped': ['swapped', 'acc', 'x y'],
  'mag-swapped': ['swapped', 'mag', 'y z'],
  'acc-reversed': ['reversed', 'acc', 'z'],
  'mag-reversed': ['reversed', 'mag', 'x'],
  'acc-mirrored': ['mirrored', 'acc'],
  'mag-mirrored': ['mirrored', 'mag'],
  'acc-turned': ['turned', 'acc'],
  'mag-turned': ['turned', 'mag'],
  'acc-offset': ['offset', 'acc'],
  'mag-offset': ['offset', 'mag'],
  'acc-lag': ['lags', 'acc'],
  'mag-lag': ['lags', 'mag'],
  'acc-scale': ['scale', 'acc'],
  'mag-scale': ['scale', 'mag'],
  'supply-low': ['supply low'],
  'supply-wrong': ['supply implausible'],
  'temperature-0': ['temperature implausible'],
  'temperature-85': ['temperature implausible'],
  'temperature-40-below': ['temperature implausible'],
};

describe('each fault of a board is found, and nothing else with it:', () => {
  it.each(Object.keys(FOUND) as (keyof typeof FOUND)[])('%s', (boardFault) => {
    for (const seed of [1, 2, 3]) {
      const mountings = seed === 1 ? DECLARED : mountingsOf(seed);
      const on = new LookedAt({ seed, boardFault, ...mountings }).all(sloppily(seed, 8));
      // from a board that lay to the south, this one is told by the dip alone
      const dipSign = boardFault === 'mag-mirrored' ? 1 : undefined;
      const { findings, verdict } = judgeAssembly(on.looked, on.declared, dipSign);
      const [fault, chip, axes] = FOUND[boardFault];
      const named = findings.map((each) => [each.fault, each.chip, each.axes?.join(' ')]);
      expect(named, `seed ${seed}`).toEqual([[fault, chip, axes]]);
      expect(verdict).toBe('faulty');
    }
  });

  it('and no simulated fault is left out', () => {
    expect(Object.keys(FOUND).sort()).toEqual(
      Object.keys(BOARD_FAULTS)
        .filter((fault) => fault !== 'none')
        .sort(),
    );
  });

  it('where two are there, both are', () => {
    const on = new LookedAt({ boardFault: 'acc-turned' }, { quirks: { volt: 25 } }).all();
    const { findings } = judgeAssembly(on.looked, on.declared);
    expect(findings.map(({ fault }) => fault)).toEqual(['turned', 'supply implausible']);
  });
});

describe('a sound board is not accused', () => {
  const sound = (settings: Partial<SimulatorSettings>, on: LookedAt) => {
    const { findings, verdict, mounting } = judgeAssembly(on.looked, on.declared);
    expect(findings, JSON.stringify(settings)).toEqual([]);
    expect(verdict, JSON.stringify(settings)).toBe('sound');
    return mounting;
  };

  it.each(KINDS)('of the kind $name, turned well or badly', ({ build, settings }) => {
    for (let seed = 1; seed <= 4; seed++) {
      const on = new LookedAt({ ...settings, seed }, { build }).all(
        sloppily(seed, seed % 2 ? 3 : 15),
      );
      const { accMounting = '-x-y-z', magMounting = '+y-x+z' } = settings;
      // how the chips sit is found whether the board declares it or not
      expect(sound({ seed }, on)).toEqual({ acc: accMounting, mag: magMounting });
    }
  });

  it('however its chips sit', () => {
    for (let i = 0; i < 48; i++) {
      const mountings = mountingsOf(i);
      const on = new LookedAt({ seed: i, ...mountings }).all(sloppily(i, 12));
      expect(sound(mountings, on)).toEqual({
        acc: mountings.accMounting,
        mag: mountings.magMounting,
      });
    }
  });

  it('in a strong field or a weak one, steep or level, nor beside steel', () => {
    for (const dip of [-80, -65, -20, 0, 40, 75]) {
      for (const fieldStrength of [0.45, 1.35]) {
        const on = new LookedAt({ seed: dip + 90, dip }, { quirks: { fieldStrength } }).all(
          sloppily(dip, 8),
        );
        expect(judgeAssembly(on.looked, on.declared).findings, `dip ${dip}`).toEqual([]);
      }
    }
    for (const seed of [1, 2, 3]) sound({ seed }, new LookedAt({ seed, disturbance: 30 }).all());
  });

  it('with chips so quiet that whole counts swallow their noise', () => {
    for (const [accNoise, magNoise] of [
      [0, 0],
      [0.01, 0.01],
    ] as const) {
      const settings = { accNoise, magNoise };
      sound(settings, new LookedAt(settings, { build: { perfect: true } }).all());
    }
  });

  it('in a field so steep that all senses of a magnetometer at once cannot be told, which is said', () => {
    const on = new LookedAt({ dip: 88 }).all();
    const { findings, untold, mounting } = judgeAssembly(on.looked, on.declared);
    expect(findings).toEqual([]);
    expect(untold.join(' ')).toContain('so steep here');
    expect(mounting.mag).toBe('+y-x+z');
  });
});

describe('noise is called wrong', () => {
  const normal = randomStream(7, 'noise');
  const share = (sd: number, standing: string, n: number): number => {
    let called = 0;
    for (let i = 0; i < n; i++) {
      const values = Array.from({ length: FOR_NOISE }, (_, k) => 5 * k + sd * normal.normal());
      if (noiseOf(values, 1).standing === standing) called++;
    }
    return called / n;
  };

  it('at its limits as seldom as is said, whatever straight line lies under it', () => {
    // 20 000 draws of a chance of 0.0005: ten, and between 1 and 24 but for one time in ten thousand
    for (const [sd, standing] of [
      [LIMITS.noisy, 'noisy'],
      [LIMITS.quiet, 'quiet'],
    ] as const) {
      const found = share(sd, standing, 20_000);
      expect(found).toBeGreaterThanOrEqual(1 / 20_000);
      expect(found).toBeLessThanOrEqual(FALSE_ALARM + 14 / 20_000);
    }
  });

  it('never for a board as it declares itself, and almost always at eight times that', () => {
    expect(share(1, 'as declared', 5000)).toBe(1);
    expect(share(8, 'noisy', 1000)).toBeGreaterThan(0.99);
    expect(share(0.05, 'quiet', 1000)).toBeGreaterThan(0.99);
  });
});

describe('a turn done wrongly is told from a fault:', () => {
  const judged = (
    wrong: Partial<Record<AssemblyPose, Partial<Attitude>>>,
    settings: Partial<SimulatorSettings> = {},
  ) => {
    const on = new LookedAt(settings).all((pose) => ({ ...POSE[pose], ...wrong[pose] }));
    const { findings, verdict, again } = judgeAssembly(on.looked, on.declared);
    return { findings, verdict, again: again.map(({ pose }) => pose) };
  };
  const asks = (...again: AssemblyPose[]) => ({ findings: [], verdict: 'not settled', again });

  it.each(['nose up', 'nose down', 'right side down', 'upside down'] as const)(
    '%s, where it was not turned at all',
    (pose) => {
      expect(judged({ [pose]: POSE['at rest'] })).toEqual(asks(pose));
    },
  );

  it('nose up and nose down exchanged, which is no reversed axis', () => {
    const wrong = { 'nose up': { inclination: -90 }, 'nose down': { inclination: 90 } };
    expect(judged(wrong)).toEqual(asks('nose up', 'nose down'));
    for (const i of [5, 17, 31])
      expect(judged(wrong, mountingsOf(i))).toEqual(asks('nose up', 'nose down'));
  });

  it('on its left side in place of its right', () => {
    expect(judged({ 'right side down': { roll: -90 } })).toEqual(asks('right side down'));
  });

  it('half way up', () => {
    expect(judged({ 'nose up': { inclination: 40 } })).toEqual(asks('nose up'));
  });

  it('a quarter turn to the left', () => {
    expect(judged({ 'quarter turn': { azimuth: -90 } })).toEqual(asks('quarter turn'));
  });

  it('the other end taken for the nose, which both chips show alike', () => {
    const { findings } = judged({
      'at rest': { azimuth: 180 },
      'nose up': { azimuth: 180, inclination: -90 },
      'nose down': { azimuth: 180, inclination: 90 },
      'right side down': { azimuth: 180, roll: -90 },
      'upside down': { azimuth: 180 },
      'quarter turn': { azimuth: 270 },
    });
    expect(findings).toMatchObject([{ fault: 'turned' }]);
    expect(findings[0]).not.toHaveProperty('chip');
    expect(findingWords(findings[0]!).title).toBe(
      'The whole board sits otherwise than it declares',
    );
  });

  it('all of it to the south, where it is known which way the field points', () => {
    const south = (pose: AssemblyPose) => ({ ...POSE[pose], azimuth: POSE[pose].azimuth + 180 });
    const on = new LookedAt().all(south);
    expect(judgeAssembly(on.looked, on.declared, 1)).toMatchObject({
      verdict: 'sound',
      findings: [],
    });
    const mirrored = new LookedAt({ boardFault: 'mag-mirrored' }).all(south);
    expect(judgeAssembly(mirrored.looked, mirrored.declared, 1).findings).toMatchObject([
      { fault: 'mirrored', chip: 'mag' },
    ]);
  });

  it('all of it to the south, where the place is not known: it may be that or the magnetometer, and neither is accused', () => {
    const southward = new LookedAt().all((pose) => ({
      ...POSE[pose],
      azimuth: POSE[pose].azimuth + 180,
    }));
    const opposite = new LookedAt({ boardFault: 'mag-mirrored' }).all();
    for (const { looked, declared } of [southward, opposite]) {
      const { verdict, findings, untold, mounting } = judgeAssembly(looked, declared);
      expect(findings).toEqual([]);
      expect(verdict).toBe('not settled');
      expect(untold.join(' ')).toMatch(
        /^Either the sight was to the south.*“Is this place clean\?”/,
      );
      expect(mounting).toEqual({ acc: declared.accMounting });
    }
  });

  it('to the east: north cannot be told, and the rest can', () => {
    const on = new LookedAt().all((pose) => ({ ...POSE[pose], azimuth: POSE[pose].azimuth + 90 }));
    const { verdict, untold } = judgeAssembly(on.looked, on.declared);
    expect(verdict).toBe('sound');
    expect(untold.join(' ')).toContain('not to the north at rest');
  });

  it('shaken at rest, which is no noise of both chips', () => {
    const on = new LookedAt().all();
    const shaking = randomStream(3, 'shaking');
    const rest = on.looked.get('at rest')!;
    const looks = rest.looks.map((look) => {
      const by = () => 0.02 * shaking.normal();
      const [a, b, c] = [by(), by(), by()];
      return {
        ...look,
        acc: [look.acc[0] + 16384 * a, look.acc[1] + 16384 * b, look.acc[2]] as const,
        mag: [look.mag[0] + 3400 * c, look.mag[1] + 3400 * b, look.mag[2] + 3400 * a] as const,
      };
    });
    on.looked.set('at rest', { ...rest, looks });
    const { findings, again } = judgeAssembly(on.looked, on.declared);
    expect(findings).toEqual([]);
    expect(again.map(({ pose }) => pose)).toEqual(['at rest']);
  });
});

it('every finding has words: a likely fault, and where to look', () => {
  for (const fault of ASSEMBLY_FAULTS) {
    for (const chip of ['acc', 'mag'] as const) {
      const { title, likely, look } = findingWords({ fault, chip, axes: ['x'], evidence: '' });
      expect(title).toMatch(/^The (accelerometer|magnetometer) /);
      expect(likely).toMatch(/\.$/);
      expect(look.length, fault).toBeGreaterThan(1);
    }
  }
});

/** One of many pairs of ways that the chips sit. */
function mountingsOf(i: number) {
  return { accMounting: allMountings[i % 48]!, magMounting: allMountings[(i * 31 + 7) % 48]! };
}

/** A hand that is off by so many degrees at most, every way. */
function sloppily(seed: number, most: number): (pose: AssemblyPose) => Attitude {
  const hand = randomStream(seed, 'sloppy hand');
  const off = () => hand.between(-most, most);
  return (pose) => {
    const { azimuth, inclination, roll } = POSE[pose];
    const tilt = Math.abs(inclination) === 90 ? -Math.sign(inclination) * Math.abs(off()) : off();
    return { azimuth: azimuth + off(), inclination: inclination + tilt, roll: roll + off() };
  };
}
