import { fetchReadings } from '../steps/board-memory.ts';
import { compareBits } from '../steps/calibration-state.ts';
import { agreementFigures } from '../steps/proof.ts';
import { setsOn } from '../steps/saving.ts';
import { atBoard, type LinkOptions } from './board-link.ts';
import { failed, type Outcome } from './outcome.ts';
import { setIn } from './seal.ts';

/**
 * `verify`: whether a board runs a file's coefficients, bit by bit, and computes with them what it should: its own angles
 * against ours, on the readings in its memory taken under them and on one fresh look. Nothing on it is changed.
 */
export function verify(options: LinkOptions & { coefficients: string }): Promise<Outcome> {
  return atBoard(options, async ({ link, signal }) => {
    const { set, coefficients, wasSaved } = setIn(options.coefficients);
    const board = await link();
    const { inForce } = await setsOn(board, signal);
    if (!inForce) {
      return failed(
        'The board has no coefficients in force. Nothing was changed. “seal” writes them.',
      );
    }
    const { equal, different, numbers } = compareBits(inForce, set);
    if (!equal) {
      return failed(
        `The board runs other coefficients than ${options.coefficients}: generation ${inForce.generation} is ${inForce.model}, and ${different} of ${numbers} numbers differ. Nothing was changed.${wasSaved ? ' That file holds what was on a board when it was saved, so what was in force then was compared: give the coefficients file that was sealed.' : ''}`,
      );
    }
    const memory = await board.memory(signal);
    const { readings } = await fetchReadings(
      board,
      memory,
      () => true,
      () => {},
      signal,
    );
    const under = readings.filter(({ generation }) => generation === inForce.generation);
    const fresh = await board.sense(signal);
    const figures = agreementFigures([...under, fresh], coefficients);
    const good = figures.every((figure) => figure.good);
    const out = [
      `The board runs ${options.coefficients}, bit for bit, as generation ${inForce.generation}.`,
      `Its own angles against ours from the same counts (${under.length} readings in its memory taken under them, and a fresh look):`,
      ...figures.map(
        ({ name, value, limit, n, good }) =>
          `- ${name}: ${n === 0 ? 'nothing to compare' : `${value.toFixed(4)}° at most over ${n}`}; may be ${limit}°${good ? '' : '. This is too much'}`,
      ),
      ...(good
        ? []
        : [
            'The board does not compute what it should from its coefficients: do not use it, and tell the maker of its firmware.',
          ]),
      'This shows that they arrived and how they are applied, not that they are right. That is proved by fresh readings that the fit never saw: with “Prove” in the page, or collect some into a new file and see what “apply” makes of them:',
      `  npm run -s cli -- collect ${options.port} --out FRESH.csv --readings 8`,
      `  npm run -s cli -- apply ${options.coefficients} FRESH.csv`,
      '',
    ].join('\n');
    return { code: good ? 0 : 1, out };
  });
}
