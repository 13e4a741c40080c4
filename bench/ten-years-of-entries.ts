import { randomStream, type Random } from '../firmware-sim/random.ts';
import type { BoardReading } from '../src/protocol/board.ts';
import type { Entry, StoredEntry } from '../src/records/entries.ts';
import { BenchInProcess } from '../tests/steps/bench-in-process.ts';

/** What a club that calibrates 200 boards every year has in its logbook after ten years. */
export const BOARDS = 200;
export const YEARS = 10;
/** Of each calibration: what the plan and the proof want, and a few that were taken beside the plan. */
export const READINGS = 75;

/**
 * One calibration as the app itself writes it, from linking to its end: 56 readings of the plan, 7 taken beside it with
 * the trigger, the fit with its residuals and covariance, the seal, 12 readings of the proof, and the proof.
 */
async function calibrationAsWritten(): Promise<readonly Entry[]> {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take rest');
  for (let extra = 0; extra < 7; extra++) {
    on.board.press();
    await on.pass(1000);
  }
  await on.ask('fit', 'write', 'prove', 'end');
  if (!on.calibration.ended) throw new Error(`not ended: ${on.state.trouble?.message}`);
  return (await on.logbook()).map(asWritten);
}

function asWritten({ number: _, ...entry }: StoredEntry): Entry {
  return entry as Entry;
}

/** The entries of one board after another: what the app wrote of one calibration, ten times over with other numbers. */
export async function* tenYears(): AsyncGenerator<readonly Entry[], void, void> {
  const once = await calibrationAsWritten();
  const taken = once.filter(({ kind }) => kind === 'reading' || kind === 'proof reading').length;
  if (taken !== READINGS) throw new Error(`a calibration has ${taken} readings`);
  for (let board = 0; board < BOARDS; board++) {
    const random = randomStream(board, 'ten years');
    const serial = `CLUB-${String(board).padStart(4, '0')}`;
    yield Array.from({ length: YEARS }, (_, year) =>
      once.map((entry) => another(entry, serial, year, random)),
    ).flat();
  }
}

const YEAR = 365.25 * 24 * 3600 * 1000;

function another(entry: Entry, board: string, year: number, random: Random): Entry {
  const time = new Date(Date.parse(entry.time) - (YEARS - year) * YEAR).toISOString();
  const stamp = {
    board,
    time,
    ...(entry.calibration !== undefined && { calibration: `${board} ${year}` }),
  };
  switch (entry.kind) {
    case 'board linked': {
      const { identity } = entry;
      const name = `Number ${Number(board.slice(-4))}`;
      return {
        ...entry,
        ...stamp,
        identity: { ...identity, serial: board, name, generation: year },
      };
    }
    case 'reading':
    case 'proof reading':
      return { ...entry, ...stamp, reading: shaken(entry.reading, year, random) } as Entry;
    case 'seal begun':
      return { ...entry, ...stamp, replaces: year };
    case 'sealed':
      return { ...entry, ...stamp, generation: year + 1, replaced: year };
    case 'fit': {
      const readings = entry.readings.map((each) => ({
        ...each,
        field: each.field * (1 + 0.001 * random.normal()),
        gravity: each.gravity * (1 + 0.001 * random.normal()),
      }));
      return { ...entry, ...stamp, readings };
    }
    default:
      return { ...entry, ...stamp } as Entry;
  }
}

/** The same reading in another year: its own number and noise. */
function shaken(reading: BoardReading, year: number, random: Random): BoardReading {
  const some = (triple: readonly [number, number, number]) =>
    triple.map((count) => count + random.below(21) - 10) as [number, number, number];
  return {
    ...reading,
    reading: reading.reading + year * READINGS,
    acc: some(reading.acc),
    mag: some(reading.mag),
  };
}
