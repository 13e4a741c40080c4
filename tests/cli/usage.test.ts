import { expect, test } from 'vitest';
import { boardCommand } from '../../src/cli/board-commands.ts';
import { COMMAND_NAMES, USAGE, usageOf } from '../../src/cli/usage.ts';

test('every command at a board is in the usage, and only what is a command', () => {
  const own = ['fit', 'next', 'apply', 'course', 'header', 'image'];
  expect(COMMAND_NAMES).toEqual(expect.arrayContaining([...own, 'ports', 'collect', 'seal']));
  for (const name of COMMAND_NAMES) {
    expect([name, own.includes(name) || boardCommand(name) !== undefined]).toEqual([name, true]);
  }
});

test('the usage of one command has all of its forms and no other command', () => {
  const fit = usageOf('fit')!;
  expect(fit).toContain('--mounting');
  expect(fit).toContain('--from COEFFICIENTS.json --offsets');
  expect(fit).not.toContain('PORT');
  const seal = usageOf('seal')!;
  expect(seal).toContain('seal PORT COEFFICIENTS.json');
  expect(seal).toContain('PORT is a serial port');
  for (const name of COMMAND_NAMES) {
    const usage = usageOf(name)!;
    const named = [...usage.matchAll(/npm run -s cli -- (\S+)/g)].map(([, each]) => each);
    expect(new Set(named)).toEqual(new Set([name]));
    for (const part of usage.slice('Usage:\n'.length).trimEnd().split('\n\n')) {
      expect(USAGE).toContain(part);
    }
  }
  expect(usageOf('guess')).toBeUndefined();
  expect(usageOf('')).toBeUndefined();
});
