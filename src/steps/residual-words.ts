import type { ResidualTest, ResidualTestName } from '../calib/residual-tests.ts';
import { listed, percentText, type Finding } from './finding.ts';

/** What is left in a fit's residuals that noise alone would not leave there, in words. */

/** Which tests found something: `order` stands for `order_acc` and `order_mag` alike, and so with the others. */
export function departs(
  tests: readonly ResidualTest[] | undefined,
  ...starts: readonly string[]
): readonly ResidualTest[] {
  return (tests ?? []).filter(
    ({ name, verdict }) =>
      verdict === 'departs' && starts.some((start) => name === start || name.startsWith(start)),
  );
}

/** Whatever is left but the noise itself, which stands by itself. */
const LEFT = ['serial', 'order', 'temperature', 'attitude'] as const;

const SHORT: Record<(typeof LEFT)[number], string> = {
  serial: 'order',
  order: 'order',
  temperature: 'temperature',
  attitude: 'attitude',
};

/** @param scales counts of 1 g and of the field */
export function leftFinding(
  tests: readonly ResidualTest[] | undefined,
  scales: { acc: number; mag: number },
): Finding {
  const name = 'What noise does not explain';
  if (!tests) {
    return {
      name,
      figure: 'not known',
      words: 'order, temperature and attitude were not tested',
      standing: 'good',
    };
  }
  const found = LEFT.filter((start) => departs(tests, start).length > 0);
  const silent = (start: string) =>
    tests.every(({ name, verdict }) => !name.startsWith(start) || verdict === 'cannot_tell');
  const untold = ['order', 'temperature', 'attitude'].filter(silent);
  const untested =
    untold.length > 0 ? `; too little to tell whether anything depends on ${listed(untold)}` : '';
  if (found.length === 0) {
    const tested = ['order', 'temperature', 'attitude'].filter((each) => !untold.includes(each));
    const words =
      tested.length > 0
        ? `what the fit leaves over shows nothing that depends on ${listed(tested)} (chance of a false alarm 1 %)`
        : 'nothing could be tested';
    return { name, figure: 'nothing', words: `${words}${untested}`, standing: 'good' };
  }
  const shorts = [...new Set(found.map((start) => SHORT[start]))];
  const words = departs(tests, ...LEFT).map((test) => testWords(test, scales));
  return {
    name,
    figure: `depends on ${listed(shorts)}`,
    words: `${words.join('; ')} (chance of a false alarm 1 %)${untested}`,
    standing: 'watch',
  };
}

const CHIP = { acc: 'accelerometer', mag: 'magnetometer' } as const;

function testWords(
  { name, change, correlation }: ResidualTest,
  scales: { acc: number; mag: number },
): string {
  const chip = name.includes('_mag') ? 'mag' : 'acc';
  const moved = change ? ` by ${percentText(Math.hypot(...change) / scales[chip])}` : '';
  const of = chip === 'acc' ? ' of 1 g' : ' of the field';
  const by = moved ? `${moved}${of}` : '';
  if (name.startsWith('order')) {
    return `the ${CHIP[chip]}’s zero moved${by} from the first reading to the last`;
  }
  if (name.startsWith('temperature')) {
    return `the ${CHIP[chip]}’s zero moved${by} from the coldest reading to the warmest`;
  }
  if (name.startsWith('serial')) {
    return `readings next to each other go together along the ${CHIP[chip]}’s ${name.at(-1)} axis (correlation ${(correlation ?? 0).toFixed(2)})`;
  }
  return ATTITUDE[name as keyof typeof ATTITUDE];
}

const ATTITUDE: Record<Extract<ResidualTestName, `attitude_${string}`>, string> = {
  attitude_gravity: 'the length of gravity depends on how the board is held',
  attitude_field: 'the length of the field depends on how the board is held',
  attitude_dip: 'the dip depends on how the board is held',
};
