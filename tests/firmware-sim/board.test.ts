import { describe, expect, test } from 'vitest';
import type { BoardOptions } from '../../firmware-sim/board.ts';
import { defaultSettings } from '../../firmware-sim/settings.ts';
import type { Fields } from '../../src/protocol/line.ts';
import type { Attitude, SimulatorSettings } from '../../src/protocol/simulator.ts';
import { numbers, plainSet, Terminal, withCheck } from './terminal.ts';

const DEGREE = Math.PI / 180;
const QUIET = { accNoise: 0, magNoise: 0, aim: 0, rollAim: 0 };
const LEVEL: Attitude = { azimuth: 0, inclination: 0, roll: 0 };

/** A session with all that draws random numbers in it; gives everything the board said, and its memory. */
async function transcript(settings: Partial<SimulatorSettings>, change = {}) {
  const terminal = new Terminal(settings).collect();
  await terminal.board.adjust(change);
  terminal.type(`${withCheck('?400 seal replaces=0 crc=00000000')}\n`);
  for (const azimuth of [0, 90, 200]) {
    for (const roll of [0, 90]) {
      await terminal.board.hold({ azimuth, inclination: 10, roll });
      terminal.type(`${withCheck(`?${401 + azimuth + roll} capture`)}\n`);
      await terminal.board.press();
      terminal.type('\n');
    }
  }
  return { heard: terminal.heard, image: terminal.board.memoryImage(), terminal };
}

async function captureAt(terminal: Terminal, attitude: Attitude): Promise<Fields> {
  await terminal.board.hold(attitude);
  return terminal.capture();
}

describe('seeds', () => {
  const faults = { lose: 0.002, double: 0.002, flip: 0.002, delayMs: 20 };

  test('the same seed gives the same bytes, faults and memory included', async () => {
    const [one, two] = [await transcript({}, { faults }), await transcript({}, { faults })];
    expect(one.heard.length).toBeGreaterThan(2000);
    expect(two.heard).toBe(one.heard);
    expect(two.image).toEqual(one.image);
  });

  test('another seed gives another board', async () => {
    const [one, two] = [await transcript({ seed: 1 }), await transcript({ seed: 2 })];
    expect(two.heard).not.toBe(one.heard);
    expect(two.terminal.hello().serial).not.toEqual(one.terminal.hello().serial);
  });

  test('turning one knob leaves the numbers behind the others as they were', async () => {
    const magOf = async (change: Partial<SimulatorSettings>) =>
      (await captureAt(new Terminal(change).collect(), LEVEL)).mag;
    const before = await magOf({});
    expect(await magOf({ accNoise: 5 })).toEqual(before);
    expect(await magOf({ curvature: 0.01 })).toEqual(before);
    expect(await magOf({ magNoise: 0.3 })).not.toEqual(before);
  });
});

describe('a board with perfect chips', () => {
  const perfect = (settings: Partial<SimulatorSettings> = {}) =>
    new Terminal({ ...QUIET, ...settings }, { build: { perfect: true } }).collect();

  // By hand, from the dip: cos 65° = 0.42262 and sin 65° = 0.90631, times 3400; gravity is 16384.
  test.each<[string, string, Attitude, number[], number[]]>([
    ['+x+y+z', '+x+y+z', LEVEL, [0, 0, 16384], [1437, 0, 3081]],
    ['-x-y-z', '+y-x+z', LEVEL, [0, 0, -16384], [0, 1437, 3081]],
    ['-x-y-z', '+y-x+z', { ...LEVEL, azimuth: 90 }, [0, 0, -16384], [1437, 0, 3081]],
    ['+z+x+y', '-z+y-x', { ...LEVEL, roll: 90 }, [16384, 0, 0], [0, 3081, -1437]],
    ['+x+y+z', '+x+y+z', { ...LEVEL, inclination: 90 }, [-16384, 0, 0], [-3081, 0, 1437]],
  ])('mounted %s and %s counts what was reckoned by hand', async (acc, mag, attitude, g, b) => {
    const told = await captureAt(perfect({ accMounting: acc, magMounting: mag }), attitude);
    expect(numbers(told, 'acc').map((x) => x + 0)).toEqual(g);
    expect(numbers(told, 'mag').map((x) => x + 0)).toEqual(b);
  });

  test('and the coefficients of its mounting tells the attitude it is held at', async () => {
    const terminal = perfect();
    // Body x is −chip x, and so on; body x is chip y, body y is −chip x, body z is chip z.
    const A = [-1, 0, 0, 0, -1, 0, 0, 0, -1];
    const B = [0, 1, 0, -1, 0, 0, 0, 0, 1];
    terminal.seal({ model: 'straight', values: [16384, 3400, 0, 0, 0, ...A, 0, 0, 0, ...B] }, 0);
    for (const attitude of [
      { azimuth: 0, inclination: 0, roll: 0 },
      { azimuth: 57, inclination: 35, roll: 200 },
      { azimuth: 300, inclination: -60, roll: 10 },
      { azimuth: 180, inclination: 80, roll: 355 },
    ]) {
      const told = await captureAt(terminal, attitude);
      for (const name of ['azimuth', 'inclination', 'roll'] as const) {
        const off = (numbers(told, name)[0]! - attitude[name] + 540) % 360;
        // Whole counts of a field 1437 strong across the sight: half of one is 0.02°, more where the sight is steep.
        expect(Math.abs(off - 180)).toBeLessThan(0.03 / Math.cos(attitude.inclination * DEGREE));
      }
    }
  });
});

describe('the truth', () => {
  test('is what the board counts when nothing trembles, to the rounding of a count', async () => {
    const terminal = new Terminal(QUIET).collect();
    const truth = await terminal.board.truth(12);
    for (const point of truth) {
      const told = await captureAt(terminal, point);
      numbers(told, 'acc').forEach((x, i) =>
        expect(Math.abs(x - point.acc[i]!)).toBeLessThan(0.51),
      );
      numbers(told, 'mag').forEach((x, i) =>
        expect(Math.abs(x - point.mag[i]!)).toBeLessThan(0.51),
      );
    }
  });

  test('covers directions evenly, and knows nothing of the hand, the noise or the steel', async () => {
    const terminal = new Terminal();
    const truth = await terminal.board.truth(400);
    const mean = [0, 0, 0];
    for (const { azimuth, inclination } of truth) {
      mean[0]! += (Math.cos(inclination * DEGREE) * Math.cos(azimuth * DEGREE)) / 400;
      mean[1]! += (Math.cos(inclination * DEGREE) * Math.sin(azimuth * DEGREE)) / 400;
      mean[2]! += Math.sin(inclination * DEGREE) / 400;
    }
    expect(Math.hypot(...mean)).toBeLessThan(0.01);
    expect(truth.filter(({ inclination }) => Math.abs(inclination) > 30)).toHaveLength(200);
    const quarters = [0, 1, 2, 3].map(
      (quarter) => truth.filter(({ roll }) => Math.floor(roll / 90) === quarter).length,
    );
    for (const count of quarters) expect(Math.abs(count - 100)).toBeLessThan(5);

    await terminal.board.adjust({ disturbance: 20, accNoise: 9, magNoise: 9, aim: 3 });
    expect(await terminal.board.truth(400)).toEqual(truth);
  });
});

describe('an ordinary board', () => {
  test('has noise of the size it declares', async () => {
    const terminal = new Terminal({ aim: 0, rollAim: 0 }, { build: { places: 400 } }).collect();
    await terminal.board.hold(LEVEL);
    const told = Array.from({ length: 300 }, () => terminal.capture());
    const declared = terminal.hello();
    for (const [name, sd] of [
      ['acc', 'acc_sd'],
      ['mag', 'mag_sd'],
    ] as const) {
      const values = told.map((fields) => numbers(fields, name)[1]!);
      const mean = values.reduce((sum, x) => sum + x, 0) / values.length;
      const spread = Math.sqrt(values.reduce((sum, x) => sum + (x - mean) ** 2, 0) / 299);
      const wanted = numbers(declared, sd)[0]!;
      expect(Math.abs(spread - wanted)).toBeLessThan((4 * wanted) / Math.sqrt(600));
    }
  });

  test('is off as ordinary boards are: some of many by a good part of the field', async () => {
    const offsets = await Promise.all(
      Array.from({ length: 20 }, async (_, seed) => {
        const terminal = new Terminal({ ...QUIET, seed, dip: 90 });
        // The mean of two opposite attitudes leaves the offset.
        const truth = await terminal.board.truth(2000);
        return truth.reduce((sum, { mag }) => sum + mag[0] / 3400, 0) / truth.length;
      }),
    );
    expect(Math.max(...offsets.map(Math.abs))).toBeGreaterThan(0.15);
    expect(Math.max(...offsets.map(Math.abs))).toBeLessThan(0.31);
  });
});

describe('steel and oddities change the counts, and only where they should', () => {
  const told = async (
    settings: Partial<SimulatorSettings>,
    quirks: BoardOptions['quirks'] = {},
    captures = 1,
  ) => {
    const terminal = new Terminal({ ...QUIET, ...settings }, { quirks }).collect();
    await terminal.board.hold({ azimuth: 30, inclination: 10, roll: 20 });
    const all = Array.from({ length: captures }, () => terminal.capture());
    const { acc, mag, acc_scatter, mag_scatter } = all.at(-1)!;
    return { acc, mag, acc_scatter, mag_scatter };
  };

  test('steel moves the field, not gravity', async () => {
    const [clean, disturbed] = [await told({}), await told({ disturbance: 20 })];
    expect(disturbed.mag).not.toEqual(clean.mag);
    expect(disturbed.acc).toEqual(clean.acc);
  });

  test('a jolt moves the hard iron by its size, from the reading after it on', async () => {
    const jolt = { afterReading: 2, shift: 0.02 };
    const before = await told({}, {}, 2);
    expect(await told({}, { jolt }, 2)).toEqual(before);
    const after = await told({}, { jolt }, 3);
    expect(after.acc).toEqual(before.acc);
    const moved = after.mag!.map((x, i) => Number(x) - Number(before.mag![i]));
    expect(Math.abs(Math.hypot(...moved) - 0.02 * 3400)).toBeLessThan(2);
  });

  test('warmth moves both offsets, a cubic part only the accelerometer', async () => {
    const plain = await told({});
    const warm = await told({}, { temperature: 35 });
    expect(warm.acc).not.toEqual(plain.acc);
    expect(warm.mag).not.toEqual(plain.mag);
    const cubic = await told({}, { cubic: 0.01 });
    expect(cubic.acc).not.toEqual(plain.acc);
    expect(cubic.mag).toEqual(plain.mag);
  });

  test('a lag of the magnetometer shows only in a moving hand', async () => {
    expect(await told({}, { magLagMs: 200 })).toEqual(await told({}));
    const [prompt, lagging] = [
      await told({}, { tremor: 5 }),
      await told({}, { tremor: 5, magLagMs: 200 }),
    ];
    expect(lagging.acc).toEqual(prompt.acc);
    expect(lagging.mag).not.toEqual(prompt.mag);
    expect(Number(prompt.acc_scatter![0])).toBeGreaterThan(0);
  });
});

describe('a firmware with bad manners', () => {
  const answers = (manners: { silent: boolean; lateMs: number; twice: boolean }) => {
    const terminal = new Terminal({}, { quirks: { manners } });
    const started = terminal.clock.now();
    const lines = terminal.type(`${withCheck('?1 hello host=00000001 protocol=1')}\n`);
    return { lines: lines.map((line) => line.slice(0, 5)), took: terminal.clock.now() - started };
  };

  test('says nothing at all', () => {
    expect(answers({ silent: true, lateMs: 0, twice: false }).lines).toEqual([]);
  });

  test('says everything twice', () => {
    expect(answers({ silent: false, lateMs: 0, twice: true }).lines).toEqual(['=1 ok', '=1 ok']);
  });

  test('says it late', () => {
    const late = { silent: false, lateMs: 3000, twice: false };
    const terminal = new Terminal({}, { quirks: { manners: late } });
    expect(terminal.type(`${withCheck('?1 hello host=00000001 protocol=1')}\n`)).toEqual([]);
    expect(terminal.type('\n')).toHaveLength(1);
  });
});

describe('a board in trouble', () => {
  const HELLO = `${withCheck('?1 hello host=00000001 protocol=1')}\n`;

  test('answers in noise, the same noise for the same seed', () => {
    const said = () => {
      const terminal = new Terminal({}, { quirks: { garbled: true } });
      terminal.type(HELLO);
      return terminal.heard;
    };
    expect(said().length).toBeGreaterThan(100);
    expect(said()).not.toContain('ok host=');
    expect(said()).toBe(said());
  });

  test('starts again every so often, and its link ends with it', () => {
    const terminal = new Terminal({}, { quirks: { restartsEveryMs: 5000 } });
    expect(terminal.type(HELLO)).toHaveLength(1);
    terminal.clock.advance(2999);
    expect(terminal.closed).toBeUndefined();
    terminal.clock.advance(1);
    expect(terminal.closed).toContain('lost its power');
    terminal.connect();
    terminal.clock.advance(4999);
    expect(terminal.closed).toBeUndefined();
    terminal.board.quirk({ restartsEveryMs: 0 });
    terminal.clock.advance(20_000);
    expect(terminal.closed).toBeUndefined();
    terminal.board.quirk({ restartsEveryMs: 300 });
    terminal.clock.advance(300);
    expect(terminal.closed).toContain('lost its power');
  });
});

describe('knobs', () => {
  test('are told as they are, as a copy', async () => {
    const { board } = new Terminal({ dip: 40 });
    const settings = await board.settings();
    expect(settings).toEqual({ ...defaultSettings, dip: 40 });
    settings.faults.lose = 1;
    expect((await board.settings()).faults.lose).toBe(0);
  });

  test.each<[string, Partial<SimulatorSettings>]>([
    ['a negative noise', { accNoise: -1 }],
    ['a dip beyond the vertical', { dip: 91 }],
    ['a mounting with an axis twice', { magMounting: '+x+x+z' }],
    ['a chance above one', { faults: { lose: 2, double: 0, flip: 0, delayMs: 0 } }],
    ['a seed that is no whole number', { seed: 1.5 }],
    ['no number at all', { aim: NaN }],
  ])('refuse %s and stay as they were', async (_, change) => {
    const { board } = new Terminal();
    await expect(board.adjust(change)).rejects.toThrow(RangeError);
    expect(await board.settings()).toEqual(defaultSettings);
  });

  test('noise and dip can be turned in the midst of a conversation', async () => {
    const terminal = new Terminal(QUIET).collect();
    const before = await captureAt(terminal, LEVEL);
    await terminal.board.adjust({ dip: 10 });
    const after = await captureAt(terminal, LEVEL);
    expect(after.acc).toEqual(before.acc);
    expect(after.mag).not.toEqual(before.mag);
    expect(after.reading).toEqual(['2']);
  });

  test('another mounting is another board: other serial number, generation 0, empty memory', async () => {
    const images: Uint8Array[] = [];
    const terminal = new Terminal({}, { onMemory: (image) => images.push(image) }).collect();
    terminal.capture();
    terminal.seal(plainSet(), 0);
    const { serial } = terminal.hello();
    await terminal.board.adjust({ accMounting: '+x+y+z' });
    expect(terminal.closed).toContain('exchanged');
    expect(images.at(-1)).toEqual(terminal.board.memoryImage());
    terminal.connect();
    const identity = terminal.hello();
    expect(identity.serial).not.toEqual(serial);
    expect(identity.generation).toEqual(['0']);
    expect(terminal.ask('memory').fields.count).toEqual(['0']);
  });
});

describe('kept memory', () => {
  test('carries the board over a reload: readings, their numbers and generation as they were', () => {
    let saved: Uint8Array | undefined;
    const before = new Terminal({}, { onMemory: (image) => (saved = image) }).collect();
    const told = before.capture();
    before.seal(plainSet(), 0);
    const after = new Terminal({}, { saved: saved! }).collect();
    expect(after.hello().generation).toEqual(['1']);
    expect(after.ask('recall reading=1').fields).toEqual(told);
    after.ask('mode set=collect');
    const next = after.capture();
    expect(next.reading).toEqual(['2']);
    // The noise goes on; it does not begin again.
    expect(next.acc).not.toEqual(told.acc);
  });

  test('is told of as a copy after each change', () => {
    const images: Uint8Array[] = [];
    const terminal = new Terminal({}, { onMemory: (image) => images.push(image) }).collect();
    expect(images).toEqual([]);
    terminal.capture();
    terminal.capture();
    terminal.ask('erase through=1');
    expect(images).toHaveLength(3);
    expect(images[0]).not.toEqual(images[1]);
    expect(images[2]).toEqual(terminal.board.memoryImage());
  });

  test('of another board is not taken over', () => {
    const other = new Terminal({ seed: 2 }).collect();
    other.capture();
    const terminal = new Terminal({ seed: 1 }, { saved: other.board.memoryImage() }).collect();
    expect(terminal.ask('memory').fields.count).toEqual(['0']);
  });
});

describe('the link', () => {
  test('takes no more in one write than the board says', () => {
    const terminal = new Terminal({}, { build: { chunk: 20 } });
    expect(terminal.hello().chunk).toEqual(['20']);
    terminal.board.dropAfter(0);
    const port = terminal.board.connect({ bytes: () => {}, closed: () => {} });
    expect(() => port.send(new Uint8Array(21))).toThrow(RangeError);
  });

  test('is one at a time, and none without power', () => {
    const terminal = new Terminal();
    expect(() => terminal.connect()).toThrow('connected already');
    terminal.board.cutPower();
    expect(terminal.closed).toContain('lost its power');
    expect(() => terminal.connect()).toThrow('no power');
    terminal.board.restart();
    terminal.connect();
    expect(terminal.hello().generation).toEqual(['0']);
  });

  test('drops when told to, after so many bytes, and what was on its way is lost', () => {
    const terminal = new Terminal();
    terminal.hello();
    const heard = terminal.heard.length;
    const request = `${withCheck('?9 memory')}\n`;
    terminal.board.dropAfter(request.length + 5);
    expect(terminal.type(request)).toEqual(['=9 ok']);
    expect(terminal.closed).toContain('dropped');
    expect(terminal.heard.length).toBe(heard + 5);
    terminal.connect();
    expect(terminal.ask('memory').ok).toBe(true);
  });
});
