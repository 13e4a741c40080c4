import { existsSync, readFileSync, writeFileSync } from 'node:fs';
import { describe, expect, it, vi } from 'vitest';
import { BAD_FILES } from '../records/bad-readings.ts';
import { cli, scratch } from './command.ts';

vi.setConfig({ testTimeout: 60_000 }); // a process each

const path = scratch();
const GOOD = 'id,ax,ay,az,mx,my,mz\n1,1,2,3,4,5,6\n';
const file = (name: string, content: string | Uint8Array): string => {
  writeFileSync(path(name), content);
  return path(name);
};

describe.concurrent('fit refuses a bad file with its place on stderr, and writes nothing', () => {
  BAD_FILES.forEach(({ name, bytes, line, field }, i) => {
    it(name, async () => {
      const [input, out] = [file(`bad-${i}.csv`, bytes), path(`bad-${i}.json`)];
      const ended = await cli('fit', input, '--out', out, '--json');
      expect(ended).toMatchObject({ code: 1, out: '' });
      expect(ended.err).toContain(input);
      expect(ended.err).toMatch(/Nothing was changed\.\n$/);
      if (line !== undefined) expect(ended.err).toContain(`line ${line}`);
      if (field !== undefined) expect(ended.err).toContain(`field ${field}`);
      expect(existsSync(out)).toBe(false);
      expect(readFileSync(input).equals(bytes)).toBe(true);
    });
  });
});

describe.concurrent('the work could not be done: exit code 1, and why', () => {
  it('no such file', async () => {
    const ended = await cli('fit', path('nowhere.csv'), '--out', path('nowhere.json'));
    expect(ended).toMatchObject({ code: 1, out: '' });
    expect(ended.err).toContain('there is no such file');
    expect(existsSync(path('nowhere.json'))).toBe(false);
  });

  it('a folder in place of a file', async () => {
    expect(await cli('fit', path('.'), '--out', path('x.json'))).toMatchObject({
      code: 1,
      out: '',
    });
  });

  it('too few readings, with what to do next', async () => {
    const out = path('few.json');
    const ended = await cli('fit', file('few.csv', GOOD), '--out', out);
    expect(ended).toMatchObject({ code: 1, out: '' });
    expect(ended.err).toMatch(/few\.csv: .+\. .+\. Nothing was changed\.\n$/);
    expect(existsSync(out)).toBe(false);
  });

  it('a folder that is not there to write to', async () => {
    const rows = Array.from({ length: 40 }, (_, i) => {
      const at = (k: number) => Math.sin(1 + i * k) * 1000;
      const [a, b, c] = [at(1.1), at(2.3), at(3.7)];
      const r = Math.hypot(a, b, c) / 1000;
      return `${i},${[a / r, b / r, c / r, b / r, -a / r, c / r].join(',')}\n`;
    });
    const input = file('odd.csv', `id,ax,ay,az,mx,my,mz\n${rows.join('')}`);
    const ended = await cli('fit', input, '--out', path('no/such/folder.json'), '--keep-all');
    expect(ended).toMatchObject({ code: 1, out: '' });
  });

  it('apply: coefficients that are none, by path; and bad readings, by line', async () => {
    const readings = file('good.csv', GOOD);
    const none = await cli('apply', file('none.json', '{"type":"recipe"}'), readings);
    expect(none).toMatchObject({ code: 1, out: '' });
    expect(none.err).toContain('none.json: type:');
    const swapped = await cli('apply', readings, readings);
    expect(swapped).toMatchObject({ code: 1, out: '' });
    expect(swapped.err).toContain('holds readings, and a file of coefficients');
  });
});

describe.concurrent('wrong usage: exit code 2, what is wrong, and how it is used', () => {
  const readings = file('usage.csv', GOOD);
  const out = path('usage.json');
  const wrong: [string, string[], RegExp][] = [
    ['no command', [], /a command is missing/],
    ['another command', ['guess'], /no command 'guess'/],
    ['no file', ['fit', '--out', out], /one file of readings/],
    ['two files', ['fit', readings, readings, '--out', out], /one file of readings/],
    ['no --out', ['fit', readings], /--out is missing/],
    ['--out without a value', ['fit', readings, '--out'], /--out/],
    ['an unknown option', ['fit', readings, '--out', out, '--best'], /--best/],
    ['--out over the readings', ['fit', readings, '--out', readings], /would be lost/],
    ['one chip only', ['fit', readings, '--out', out, '--mounting', 'acc=+x+y+z'], /both chips/],
    [
      'an axis twice',
      ['fit', readings, '--out', out, '--mounting', 'acc=+x+x+z,mag=+x+y+z'],
      /each once/,
    ],
    ['apply with one file', ['apply', readings], /a file of coefficients and a file of readings/],
    ['apply with an option', ['apply', readings, readings, '--json'], /--json/],
  ];
  for (const [name, args, why] of wrong) {
    it(name, async () => {
      const ended = await cli(...args);
      expect(ended).toMatchObject({ code: 2, out: '' });
      const [usage, reason] = ended.err.trimEnd().split(/\n(?=[^\n]*$)/);
      expect(reason).toMatch(why);
      expect(usage).toMatch(/^Usage:/);
      expect(usage!.split('\n').length).toBeLessThan(30);
      expect(existsSync(out)).toBe(false);
      expect(readFileSync(readings, 'utf8')).toBe(GOOD);
    });
  }

  it('help of one command is no error', async () => {
    const ended = await cli('fit', '--out', 'x.json', '--help');
    expect(ended).toMatchObject({ code: 0, err: '' });
    expect(ended.out).toMatch(/^Usage:\n {2}npm run -s cli -- fit /);
    expect(ended.out).not.toContain('cli -- seal');
  });

  it('help is no error', async () => {
    const ended = await cli('--help');
    expect(ended).toMatchObject({ code: 0, err: '' });
    expect(ended.out).toContain('Usage:');
  });
});
