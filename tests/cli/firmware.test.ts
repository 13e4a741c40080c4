import { existsSync, mkdtempSync, readFileSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { Ajv } from 'ajv';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { CONDUCT } from '../../firmware-sim/image-slots.ts';
import { firmwareAt, type Asking } from '../../src/cli/firmware.ts';
import { readSettings } from '../../src/protocol/board-care.ts';
import { formatImage } from '../../src/protocol/firmware-image.ts';
import { readSavedBoard } from '../../src/records/saved-board.ts';
import { plainSet } from '../firmware-sim/terminal.ts';
import { PlaceInProcess } from './place-in-process.ts';

const folder = mkdtempSync(join(tmpdir(), 'lodebench-firmware-'));
const before = process.cwd();
beforeAll(() => process.chdir(folder)); // names of its own are made here
afterAll(() => process.chdir(before));

const OURS = plainSet({ 2: 0.01 });

const imageOf = (conduct: number, length = 700, hardware = 'simulated 1') =>
  formatImage({
    hardware,
    version: '1.1',
    program: Uint8Array.from({ length }, (_, i) => (i === 0 ? conduct : i % 251)),
    resetsSettings: true,
    replacesCoefficients: true,
  });

let files = 0;
function file(content: Uint8Array): string {
  const path = join(folder, `image-${++files}`);
  writeFileSync(path, content);
  return path;
}

const noName = (): string => join(folder, `board-${++files}.json`);

const never: Asking = () => Promise.reject(new Error('nobody is to be asked'));

function command(
  options: Partial<Parameters<typeof firmwareAt>[1]>,
  ask: Asking = never,
): (place: Parameters<typeof firmwareAt>[0]) => ReturnType<typeof firmwareAt> {
  return (place) => firmwareAt(place, { back: false, confirmByHand: false, ...options }, ask);
}

/** A board with readings, coefficients and settings of its own. */
async function keptBoard(seed = 1): Promise<PlaceInProcess> {
  const at = new PlaceInProcess({ seed });
  await at.take(2);
  await at.with(async (board) => {
    await board.seal(0, await board.stage(OURS));
    await board.ask('change', { name: 'sleep', value: '25' });
    await board.ask('adopt', { replaces: 0 });
  });
  return at;
}

const look = (at: PlaceInProcess) =>
  at.with(async (board) => ({
    image: await board.ask('image', {}),
    values: (await board.coefficients('in_force'))?.values,
    generation: (await board.coefficients('in_force'))?.generation,
    sleep: (await readSettings(board)).settings.find(({ name }) => name === 'sleep')?.value,
    readings: [await board.recall(1), await board.recall(2)],
  }));

async function expectChanged(at: PlaceInProcess, readings: unknown): Promise<void> {
  const now = await look(at);
  expect(now.image).toMatchObject({ running: '1.1', trial: false, spare: '1.0' });
  expect(now.values).toEqual(OURS.values.map(Math.fround));
  expect(now.sleep).toBe('25');
  expect(now.readings).toEqual(readings);
}

describe('firmware', () => {
  test('alone says what runs and what is spare', async () => {
    const { code, out } = await new PlaceInProcess().run(command({}));
    expect(code).toBe(0);
    expect(out).toContain('runs version 1.0.\nSpare slot: empty.\nAn image may have 8192 bytes.');
    const without = new PlaceInProcess({}, { build: { takesImages: false } });
    expect((await without.run(command({}))).err).toContain('takes no firmware');
  });

  test('is saved for, sent, started, found healthy, confirmed, and what it changed put back', async () => {
    const at = await keptBoard();
    const was = await look(at);
    const save = noName();
    const { code, said } = await at.run(command({ image: file(imageOf(CONDUCT.healthy)), save }));
    expect(said).toContain('The board runs version 1.1, confirmed.');
    expect(said).toContain('as they were, read back');
    expect(said).toContain('sleep: 10 now, 25 when it was saved');
    expect(code).toBe(0);
    expect(said.indexOf('Saved in')).toBeLessThan(said.indexOf('Sent: 0 of'));
    await expectChanged(at, was.readings);
    expect((await look(at)).generation).toBe(3); // its maker's came between

    const json: unknown = JSON.parse(readFileSync(save, 'utf8'));
    expect(json).toMatchObject({
      firmwareChange: { from: '1.0', to: '1.1', source: 'file', state: 'finished' },
      settings: { revision: 1 },
    });
    const schema = new URL('../../docs/schemas/board-1.schema.json', import.meta.url);
    const isValid = new Ajv({ strict: false }).compile(JSON.parse(readFileSync(schema, 'utf8')));
    isValid(json);
    expect(isValid.errors ?? []).toEqual([]);
  });

  test('that was put in place is not put there again, nor are old settings put over new ones', async () => {
    const at = await keptBoard();
    const options = { image: file(imageOf(CONDUCT.healthy)), save: noName() };
    await at.run(command(options));
    await at.with(async (board) => {
      const { revision } = await readSettings(board);
      await board.ask('change', { name: 'sleep', value: '60' });
      await board.ask('adopt', { replaces: revision });
    });
    const again = await at.run(command(options));
    expect(again).toMatchObject({ code: 0 });
    expect(again.out).toContain('runs version 1.1 already');
    expect((await look(at)).sleep).toBe('60');
  });

  test('goes back to the one before, and forth again, each from the spare slot', async () => {
    const at = await keptBoard(4);
    await at.run(command({ image: file(imageOf(CONDUCT.healthy)) }));
    const back = await at.run(command({ back: true }));
    expect(back.code).toBe(0);
    expect((await look(at)).image).toMatchObject({ running: '1.0', trial: false, spare: '1.1' });
    const forth = await at.run(command({ back: true }));
    expect(forth.code).toBe(0);
    const now = await look(at);
    expect(now.image).toMatchObject({ running: '1.1', trial: false });
    expect(now.sleep).toBe('25');
    expect(now.values).toEqual(OURS.values.map(Math.fround));
  });

  test.each(['silent', 'restarting'] as const)(
    'that is %s is not confirmed: the board goes back by itself, and that is said',
    async (conduct) => {
      const at = await keptBoard();
      const was = await look(at);
      const options = { image: file(imageOf(CONDUCT[conduct])), save: noName() };
      const { code, err } = await at.run(command(options));
      expect(code).toBe(1);
      expect(err).toContain('went back by itself');
      expect(err).toContain(options.save);
      const now = await look(at);
      expect(now).toEqual({ ...was, image: now.image });
      expect(now.image).toMatchObject({ running: '1.0', trial: false });
    },
  );

  test('stays only if the person who is asked says yes', async () => {
    const image = file(imageOf(CONDUCT.healthy));
    for (const [answer, running] of [
      ['yes', '1.1'],
      ['', '1.0'],
    ] as const) {
      const at = await keptBoard();
      const asked: string[] = [];
      const { code } = await at.run(
        command({ image, save: noName(), confirmByHand: true }, async (question) => {
          asked.push(question);
          return answer;
        }),
      );
      expect(asked).toHaveLength(1);
      expect(code).toBe(running === '1.1' ? 0 : 1);
      expect((await look(at)).image.running).toBe(running);
    }
  });

  test('that does not fit is refused before anything is saved or sent', async () => {
    const at = await keptBoard();
    const save = noName();
    for (const [image, words] of [
      [imageOf(0, 700, 'tin/2'), 'for boards of the kind “tin/2”'],
      [imageOf(0, 9000), 'the board takes 8192'],
      [imageOf(0).slice(0, 90), 'cut short'],
      [Uint8Array.of(1, 2, 3), 'no firmware'],
    ] as const) {
      const { code, err } = await at.run(command({ image: file(image), save }));
      expect(code).toBe(1);
      expect(err).toContain(words);
    }
    at.board.quirk({ volt: 3.4 });
    const low = await at.run(command({ image: file(imageOf(0)), save }));
    expect(low.err).toContain('3.4 V');
    expect(existsSync(save)).toBe(false);
    expect((await look(at)).image.state).toBe('empty');
  });

  test('is not begun with a file that holds what was on another board, or on this one at another time', async () => {
    const [one, two] = [await keptBoard(), await keptBoard(2)];
    const options = { image: file(imageOf(CONDUCT.silent)), save: noName() };
    await one.run(command(options));
    expect((await two.run(command(options))).err).toContain('was not saved for a change of board');
    await one.take(1);
    const { code, err } = await one.run(command(options));
    expect(code).toBe(1);
    expect(err).toContain('Give another name with --save');
    expect((await look(one)).image.running).toBe('1.0');
  });
});

describe('a change of firmware that was cut off goes on with the same command', () => {
  test.each([
    /^Saved in/,
    /^Sent: [3-5]/,
    /^Checked by the board/,
    /^Waiting for the board/,
    /^Looking whether/,
    /^Healthy/,
    /is confirmed\. Looking what it changed/,
    /sealed again/,
  ])('after it said %s', async (pattern) => {
    const at = await keptBoard();
    const { readings } = await look(at);
    const options = { image: file(imageOf(CONDUCT.healthy)), save: noName() };
    await at.cutOff(pattern, command(options));
    const { code, said } = await at.run(command(options));
    expect(said).toContain('as they were, read back');
    expect(code).toBe(0);
    await expectChanged(at, readings);
  });

  test('and where the power failed at the board: at every 151st write, the first run or the second ends it', async () => {
    const writes = await writesOfAChange();
    expect(writes).toBeGreaterThan(900);
    for (let n = 1 + (writes % 151); n <= writes; n += 151) {
      const at = await keptBoard();
      const { readings } = await look(at);
      const options = { image: file(imageOf(CONDUCT.healthy)), save: noName() };
      at.board.cutPowerAtWrite(n);
      let { code, said } = await at.run(command(options));
      if (code !== 0) ({ code, said } = await at.run(command(options)));
      expect(said).toContain('as they were, read back');
      expect(code).toBe(0);
      await expectChanged(at, readings);
    }
  });

  test('but what someone sealed or set in between is left in force, and that is said', async () => {
    const at = await keptBoard();
    const options = { image: file(imageOf(CONDUCT.healthy)), save: noName() };
    await at.cutOff(/is confirmed\. Looking what it changed/, command(options));
    const theirs = plainSet({ 2: 0.02 });
    await at.with(async (board) => {
      await board.seal(2, await board.stage(theirs));
      await board.ask('change', { name: 'light_off', value: '60' });
      await board.ask('adopt', { replaces: 2 });
    });
    const { code, err } = await at.run(command(options));
    expect(code).toBe(1);
    expect(err).toContain('light_off was changed by someone since, and stays 60');
    expect((await look(at)).sleep).toBe('25');
    expect(err).toContain('generation 3, which someone sealed since');
    expect((await look(at)).values).toEqual(theirs.values.map(Math.fround));
  });
});

async function writesOfAChange(): Promise<number> {
  const at = await keptBoard();
  const start = at.board.memoryWrites;
  await at.run(command({ image: file(imageOf(CONDUCT.healthy)), save: noName() }));
  return at.board.memoryWrites - start;
}

test('a file that was saved for it is read whole or not at all', async () => {
  const at = await keptBoard();
  const save = noName();
  await at.run(command({ image: file(imageOf(CONDUCT.healthy)), save }));
  const text = readFileSync(save, 'utf8');
  const read = (changed: string) => readSavedBoard(new TextEncoder().encode(changed));
  expect(read(text)).toMatchObject({ ok: true, saved: { inForce: { generation: 1 } } });
  expect(read(text.replace('0.00999', '0.00998'))).toMatchObject({ ok: false, cause: 'bad_value' });
  expect(read(text.replace('"finished"', '"perhaps"'))).toMatchObject({ ok: false });
  expect(read(text.slice(0, -4))).toMatchObject({ ok: false, cause: 'not_json' });
});
