import fc from 'fast-check';
import { describe, expect, test, vi } from 'vitest';
import { VirtualClock } from '../../../firmware-sim/clock.ts';
import { coefficientsFrom, applyCoefficients } from '../../../src/calib/model.ts';
import { LinkError, type ByteLink, type LinkListener } from '../../../src/protocol/link.ts';
import { turnedAboutSight } from '../../../src/steps/conformance/coefficient-checks.ts';
import { reportJson, reportText } from '../../../src/steps/conformance/report.ts';
import { checkConformance } from '../../../src/steps/conformance/run.ts';
import { plainSet } from '../../firmware-sim/terminal.ts';
import { CheckedBoard, named } from './checked-board.ts';

// a run is many hundred lines there and back; a busy machine takes its time
vi.setConfig({ testTimeout: 60_000 });

/** Sends lines as a person at a terminal would, and gives what came. */
async function paste(checked: CheckedBoard, lines: readonly string[]): Promise<string> {
  let heard = '';
  const typed = async () => {
    await checked.link.open({
      bytes: (chunk) => (heard += new TextDecoder().decode(chunk)),
      closed: () => {},
    });
    for (const line of lines) {
      const bytes = new TextEncoder().encode(`${line}\n`);
      for (let at = 0; at < bytes.length; at += 20)
        await checked.link.write(bytes.slice(at, at + 20));
      await new Promise<void>((resolve) => void checked.clock.after(1000, resolve));
    }
    await checked.link.close();
  };
  await checked.clock.run(typed());
  return heard;
}

/** How many bytes a whole run carries, both ways. */
async function bytesOfARun(): Promise<number> {
  const checked = await new CheckedBoard().inUse();
  const report = await checked.check();
  return report.checks
    .flatMap(({ exchanges }) => exchanges)
    .reduce((sum, { sent, came }) => sum + sent.length + 1 + came.join('\n').length + 1, 0);
}

describe('a run changes nothing that it does not put back:', () => {
  test('with nothing agreed to, not one byte of the kept memory is written', async () => {
    const checked = await new CheckedBoard().inUse();
    const writes = checked.board.memoryWrites;
    const report = await checked.check({ consents: {}, hands: {} });
    expect(named(report, 'failed')).toEqual([]);
    expect(checked.board.memoryWrites).toBe(writes);
    expect(report.left).toEqual({
      asFound: true,
      words: ['The board is as it was found.'],
      lines: [],
    });
  });

  test('a board without a previous set says so afterwards, and reads as before', async () => {
    const checked = new CheckedBoard();
    await checked.as(async (board) => board.seal(0, await board.stage(plainSet({ 2: 0.01 }))));
    const before = await checked.kept();
    const report = await checked.check();
    expect((await checked.kept()).inForce).toBe(before.inForce);
    expect(report.left.words.join()).toContain('There was no previous set');
  });

  test('a set turned about the sight gives the same azimuth and inclination, and another roll', () => {
    const set = plainSet({ 2: 0.02, 6: 0.03, 15: 0.1, 20: -0.04 });
    const angles = ({ values }: { values: readonly number[] }) =>
      applyCoefficients(
        coefficientsFrom('straight', values),
        [3000, -5000, 15000],
        [900, 700, 3000],
      );
    const [as, turned] = [angles(set), angles(turnedAboutSight(set, 1))];
    expect(turned.azimuth).toBeCloseTo(as.azimuth!, 5);
    expect(turned.inclination).toBeCloseTo(as.inclination!, 5);
    expect(turned.roll! - as.roll!).toBeCloseTo(Math.PI / 180, 5);
  });

  test('stopped at any check it puts back first', async () => {
    for (const name of [
      'sense',
      'erase',
      'sixteen events kept',
      'seal repeated',
      'revert',
      'kept readings',
    ]) {
      const checked = await new CheckedBoard().inUse();
      const before = await checked.kept();
      const stop = new AbortController();
      const report = await checked.check({
        signal: stop.signal,
        onProgress: (progress) => {
          if (progress.name === name) stop.abort();
        },
      });
      expect(report.cut).toMatchObject({ stopped: true });
      expect(named(report, 'not tried')).toContain(name);
      expect(await checked.kept(), name).toEqual(before);
    }
  });
});

/** The link of a board, on which each line to it passes through `alter` first. */
function altered(link: ByteLink, alter: (line: string) => string | LinkError): ByteLink {
  let held = '';
  let ear: LinkListener | undefined;
  return {
    label: 'altered link',
    open: (listener) => link.open((ear = listener)),
    write: async (bytes) => {
      held += new TextDecoder().decode(bytes);
      if (!held.endsWith('\n')) return;
      const line = alter(held);
      held = '';
      if (line instanceof LinkError) {
        await link.close();
        return ear!.closed(line);
      }
      const whole = new TextEncoder().encode(line);
      for (let at = 0; at < whole.length; at += 20) await link.write(whole.slice(at, at + 20));
    },
    close: () => link.close(),
  };
}

describe('a first seal', () => {
  const consents = { seal: true, firstSeal: true };
  const checkOver = (checked: CheckedBoard, alter: (line: string) => string | LinkError) => {
    const { clock, random, link } = checked;
    return clock.run(checkConformance(altered(link, alter), { clock, random, consents }));
  };
  const isSeal = (line: string) => / seal replaces=0 /.test(line);

  test('that the board refuses is not reported as done', async () => {
    const checked = new CheckedBoard();
    const refusing = (line: string) => (isSeal(line) ? line.replace('seal', 'sell') : line);
    const { left, checks } = await checkOver(checked, refusing);
    expect(checks.find(({ name }) => name === 'the first seal')?.outcome).toBe('failed');
    expect((await checked.kept()).inForce).toBeUndefined();
    expect(left).toEqual({ asFound: true, words: ['The board is as it was found.'], lines: [] });
  });

  test('on the way of which the link dropped is reported as what may have been done', async () => {
    const dropped = new LinkError('gone', 'it is gone');
    const { left } = await checkOver(new CheckedBoard(), (line) => (isSeal(line) ? dropped : line));
    expect(left.words.join()).toMatch(/first one may be now/);
    expect(left.words.join()).not.toMatch(/first one is now/);
  });

  test('that was done is reported so', async () => {
    const { left } = await checkOver(new CheckedBoard(), (line) => line);
    expect(left.words.join()).toMatch(/a first one is now/);
  });
});

describe('whatever breaks a run,', () => {
  test('the board is put back and the link closed before it is told', async () => {
    for (const name of ['the trigger', 'seal repeated', 'revert']) {
      const checked = await new CheckedBoard().inUse();
      const before = await checked.kept();
      const run = checked.check({
        onProgress: (progress) => {
          if (progress.name === name) throw new RangeError('no paper');
        },
      });
      await expect(run).rejects.toThrow(new RangeError('no paper'));
      expect(await checked.kept(), name).toEqual(before);
    }
  });

  test('hands that fail leave no reading behind', async () => {
    const checked = await new CheckedBoard().inUse();
    const before = await checked.kept();
    const press = () => Promise.reject(new RangeError('no finger'));
    await expect(checked.check({ hands: { press } })).rejects.toThrow(new RangeError('no finger'));
    expect(await checked.kept()).toEqual(before);
  });

  test('a link that does not close costs no report', async () => {
    const checked = await new CheckedBoard().inUse();
    const close = () => Promise.reject(new LinkError('failed', 'the port hangs'));
    const { open, write } = checked.link;
    const link = {
      label: '',
      open: open.bind(checked.link),
      write: write.bind(checked.link),
      close,
    };
    const { clock, random } = checked;
    const { left } = await clock.run(checkConformance(link, { clock, random }));
    expect(left.asFound).toBe(true);
    expect(left.words.at(-1)).toBe('The link did not close: the port hangs.');
  });
});

describe('cut off midway,', () => {
  test('wherever the link drops, the report says what state the board is in, and the lines in it put it right', async () => {
    const whole = await bytesOfARun();
    let mended = 0;
    for (let at = 600; at < whole; at += Math.ceil(whole / 70)) {
      const checked = await new CheckedBoard().inUse();
      const before = await checked.kept();
      const dropping: ByteLink = {
        label: 'dropping link',
        open: async (listener) => {
          await checked.link.open(listener);
          if (!dropped) checked.board.dropAfter(at);
          dropped = true;
        },
        write: (bytes) => checked.link.write(bytes),
        close: () => checked.link.close(),
      };
      let dropped = false;
      const report = await checked.clock.run(
        checkConformance(dropping, {
          clock: checked.clock,
          random: checked.random,
          consents: { readings: true, seal: true, settings: true },
        }),
      );
      if (!report.cut) continue;
      expect(report.cut).toMatchObject({ stopped: false });
      expect(named(report, 'failed'), `dropped after ${at}`).toEqual([]);
      await paste(checked, ['']); // half a line may be in its buffer
      const after = await checked.kept();
      if (after.count !== before.count)
        expect(report.left.words.join()).toContain('Its memory was empty');
      if (after.inForce !== before.inForce || after.name !== before.name) {
        await paste(checked, report.left.lines);
        const { inForce, name } = await checked.kept();
        expect({ inForce, name }).toEqual({ inForce: before.inForce, name: before.name });
        mended += 1;
      } else if (report.left.asFound) expect(after).toEqual(before);
      expect(reportText(report)).toContain('The run was cut off: the link ended');
    }
    expect(mended).toBeGreaterThan(0);
  });

  test('a board that never answers fails hello, and nothing else is tried', async () => {
    const checked = new CheckedBoard({
      quirks: { manners: { silent: true, lateMs: 0, twice: false } },
    });
    const report = await checked.check();
    expect(named(report, 'failed')).toEqual(['hello']);
    expect(report.cut).toMatchObject({ stopped: false, reason: 'it no longer answers hello' });
    expect(report.left.asFound).toBe(true);
  });
});

/** A link on which whatever is said is answered by what `answers` gives, whether or not it makes sense. */
class BabblingLink implements ByteLink {
  readonly label = 'babbling board';
  #listener: LinkListener | undefined;
  constructor(private readonly answer: (said: string) => Uint8Array) {}
  async open(listener: LinkListener): Promise<void> {
    this.#listener = listener;
  }
  async write(bytes: Uint8Array): Promise<void> {
    if (!this.#listener) throw new LinkError('closed', 'it is closed');
    this.#listener.bytes(this.answer(new TextDecoder().decode(bytes)));
  }
  async close(): Promise<void> {
    this.#listener = undefined;
  }
}

describe('a board that sends anything at all', () => {
  test('gives a report that can be written, and never an error or an endless run', async () => {
    const word = fc.constantFrom(
      '=1 ok',
      '=2 ok',
      '=0 error',
      '!1 reading',
      'code=busy',
      'host=1',
      'generation=3',
      'acc=1,2,3',
      'mag=1',
      'crc=00000000',
      '%',
      '#',
      '\n',
      '\n',
      '\r',
      '\u00e9',
      'x'.repeat(500),
    );
    const babble = fc
      .array(word, { maxLength: 12 })
      .map((words) => new TextEncoder().encode(words.join(' ').replaceAll(' \n ', '\n')));
    await fc.assert(
      fc.asyncProperty(fc.array(babble, { minLength: 1, maxLength: 6 }), async (answers) => {
        const clock = new VirtualClock();
        let turn = 0;
        const link = new BabblingLink(() => answers[turn++ % answers.length]!);
        const options = {
          clock,
          random: () => 0.5,
          consents: { readings: true, seal: true, firstSeal: true },
        };
        const report = await clock.run(checkConformance(link, options));
        expect(named(report, 'failed').length).toBeGreaterThan(0);
        expect(() => JSON.parse(reportJson(report))).not.toThrow();
        expect(reportText(report)).toMatch(/^[^\p{Cc}]*$/mu);
      }),
      { numRuns: 40 },
    );
  });

  test('is cut off when it sends without end', async () => {
    const clock = new VirtualClock();
    const flood = new TextEncoder().encode('=1 ok\n'.repeat(3000));
    const report = await clock.run(
      checkConformance(new BabblingLink(() => flood), { clock, random: () => 0.5 }),
    );
    expect(report.cut?.reason).toBe('it sends without end');
  });
});
