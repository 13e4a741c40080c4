import { ESLint } from 'eslint';
import { describe, expect, it } from 'vitest';

/** The arrows between the rooms of the house, as DEVELOPERS.md draws them, are held by lint. */
const eslint = new ESLint();

async function complaints(filePath: string, code: string): Promise<string[]> {
  const [result] = await eslint.lintText(`${code}\n`, { filePath });
  return result!.messages.map(({ ruleId }) => ruleId ?? 'parse');
}

describe('lint refuses', () => {
  it.each([
    ['the simulator sharing mathematics with the fit', 'firmware-sim/x.ts', '../src/calib/fit.ts'],
    ['the fit knowing the protocol', 'src/calib/x.ts', '../protocol/line.ts'],
    ['the fit using a package of its own', 'src/calib/x.ts', 'lit'],
    ['the protocol knowing a transport', 'src/protocol/x.ts', '../transport/simulated.ts'],
    ['the protocol using a package', 'src/protocol/x.ts', 'idb'],
    ['a transport knowing steps', 'src/transport/x.ts', '../steps/bench.ts'],
    ['records knowing steps', 'src/records/x.ts', '../steps/bench.ts'],
    ['steps knowing views', 'src/steps/x.ts', '../views/lode-bench.ts'],
    ['steps choosing a transport', 'src/steps/x.ts', '../transport/simulated.ts'],
    ['steps knowing the simulator', 'src/steps/x.ts', '../../firmware-sim/board.ts'],
    ['a view reaching past steps to the fit', 'src/views/x.ts', '../calib/fit.ts'],
    ['a view reaching past steps to the records', 'src/views/x.ts', '../records/logbook.ts'],
    ['a view in a nested folder reaching past steps', 'src/views/deep/x.ts', '../../calib/fit.ts'],
    ['the command line knowing views', 'src/cli/x.ts', '../views/lode-bench.ts'],
    ['the simulator’s process knowing the fit', 'sim/x.ts', '../src/calib/fit.ts'],
  ])('%s', async (_, file, target) => {
    expect(await complaints(file, `import '${target}';`)).toContain('no-restricted-imports');
  });

  it.each([
    ['src/calib/x.ts', 'export const now = () => Date.now();', 'no-restricted-globals'],
    [
      'src/protocol/x.ts',
      'export const f = () => setTimeout(() => {}, 1);',
      'no-restricted-globals',
    ],
    ['src/calib/x.ts', 'export const f = () => document.title;', 'no-restricted-globals'],
    ['firmware-sim/x.ts', 'export const f = () => Math.random();', 'no-restricted-properties'],
  ])(
    'a clock, a timer, the page or unseeded chance in a pure room (%s: %s)',
    async (file, code, rule) => {
      expect(await complaints(file, code)).toContain(rule);
    },
  );
});

describe('lint allows', () => {
  it.each([
    ['src/views/x.ts', '../steps/bench.ts'],
    ['src/steps/x.ts', '../calib/fit.ts'],
    ['src/calib/x.ts', './geometry.ts'],
    ['src/calib/x.ts', 'ml-matrix'],
    ['firmware-sim/x.ts', '../src/protocol/line.ts'],
    ['src/transport/x.ts', '../../firmware-sim/board.ts'],
    ['sim/x.ts', '../firmware-sim/board.ts'],
  ])('%s to import %s', async (file, target) => {
    expect(await complaints(file, `import '${target}';`)).not.toContain('no-restricted-imports');
  });
});
