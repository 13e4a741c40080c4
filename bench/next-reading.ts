import { randomStream } from '../firmware-sim/random.ts';
import { drawInstrument, ORDINARY, rawReadings } from '../firmware-sim/raw-readings.ts';
import { defaultSettings } from '../firmware-sim/settings.ts';
import { uncertaintyFrom } from '../src/calib/covariance.ts';
import { fit } from '../src/calib/fit.ts';
import { attitude, degrees, radians } from '../src/calib/geometry.ts';
import {
  knowledgeAfter,
  knowledgeFrom,
  nextReading,
  nominalKnowledge,
  readingsNeeded,
  spreadAims,
  type Knowledge,
} from '../src/calib/next-reading.ts';
import type { Aim, Reading } from '../src/calib/reading.ts';
import { ExchangeSearch } from './exchange-search.ts';
import type { Figure } from './figure.ts';
import { azimuthAfter, cubeReadings, type Planned } from './planned-readings.ts';
import {
  boundCovariance,
  DECLARED,
  simulateCalibration,
  trueTheta,
  type SimulatedCalibration,
} from './simulated-calibration.ts';

const COUNT = 28;
const NOISE = { acc: 0.001, mag: 0.002 };
/** Random starts of the exchange search, beside the readings chosen one by one; and how often each is shaken. */
const STARTS = 2;
const SHAKES = 2;

/** Readings chosen step by step against the best that an exchange search finds, and how long a choice takes. */
export function nextReadings(): Figure[] {
  return [...[0, 30, 65, 80].map(nominal), drawn(), wholeRuns(), ...timeOfChoice()];
}

/** Standard error of azimuth, from a covariance computed anew. */
const azimuthOf = ({ theta, noise }: Knowledge, taken: readonly Planned[]): number =>
  azimuthAfter(theta, taken, noise);

const attitudeOf = ({ azimuth, inclination, roll }: Required<Aim>) =>
  attitude(azimuth, inclination, roll);

const chosenFor = (knowledge: Knowledge) => readingsNeeded(knowledge, 0, { most: COUNT }).readings;

const chosen = (knowledge: Knowledge): number =>
  azimuthOf(
    knowledge,
    chosenFor(knowledge).map(({ sighting, aim }) => ({ sighting, attitude: attitudeOf(aim) })),
  );

/** The best that the exchange search finds. */
function best(knowledge: Knowledge): number {
  const candidates = spreadAims();
  const search = new ExchangeSearch(knowledge, candidates);
  const random = randomStream(1, 'exchange');
  const ours = chosenFor(knowledge).map(({ aim }) => ({
    line: candidates.directions.findIndex(
      ({ azimuth, inclination }) => azimuth === aim.azimuth && inclination === aim.inclination,
    ),
    roll: candidates.rolls.indexOf(aim.roll),
  }));
  const starts = Array.from({ length: STARTS }, () => search.randomStart(COUNT, random));
  return azimuthOf(
    knowledge,
    search.best([ours, ...starts], SHAKES, random).picks.map(({ line, roll }) => ({
      sighting: String(line),
      attitude: attitudeOf({ ...candidates.directions[line]!, roll: candidates.rolls[roll]! }),
    })),
  );
}

const cube = (knowledge: Knowledge, count: number): number =>
  azimuthOf(
    knowledge,
    cubeReadings()
      .slice(0, count)
      .map(({ sighting, aim }) => ({ sighting, attitude: attitudeOf(aim) })),
  );

const angle = (value: number) => `${degrees(value).toFixed(4)}°`;

function compared(what: string, knowledge: Knowledge): Figure {
  const [ours, theirs] = [chosen(knowledge), best(knowledge)];
  return {
    what: `expected azimuth error of ${COUNT} readings chosen one by one, over the best ${COUNT} of an exchange search, ${what}`,
    value: (ours / theirs).toFixed(3),
    beside: `${angle(ours)} over ${angle(theirs)}; at most 1.05 wanted; first 28 of the cube plan ${angle(cube(knowledge, 28))}, all 56 ${angle(cube(knowledge, 56))}`,
  };
}

const nominal = (dip: number): Figure =>
  compared(`dip ${dip}°, no reading yet`, nominalKnowledge({ noise: NOISE, dip: radians(dip) }));

function drawn(): Figure {
  const theta = [...trueTheta(simulateCalibration({ seed: 1 }))];
  return compared('an ordinary drawn instrument, dip 65°', {
    ...nominalKnowledge({ noise: NOISE, dip: radians(65) }),
    theta,
  });
}

/** Whole calibrations: each reading taken by the simulated hand, each choice from a fit of those before it. */
function wholeRuns(): Figure {
  const seeds = [1, 2, 3];
  let worst = 0;
  const words: string[] = [];
  for (const seed of seeds) {
    const calibration = calibrateByAdvice(seed);
    const theta = trueTheta(calibration);
    const ours = uncertaintyFrom(theta, boundCovariance(calibration)).azimuth;
    const known = nominalKnowledge({ noise: NOISE, dip: radians(calibration.settings.dip) });
    const theirs = best({ ...known, theta: [...theta] });
    worst = Math.max(worst, ours / theirs);
    words.push(`${angle(ours)} over ${angle(theirs)}`);
  }
  return {
    what: `the same, ${seeds.length} whole calibrations: each reading advised from a fit of those before it and taken by hand; the worst`,
    value: worst.toFixed(3),
    beside: `${words.join(', ')}; bound at the truth and the attitudes really taken`,
  };
}

function calibrateByAdvice(seed: number): SimulatedCalibration {
  const settings = { ...defaultSettings, seed };
  const instrument = drawInstrument(settings, ORDINARY);
  const first = nominalKnowledge({ noise: NOISE, dip: radians(settings.dip) });
  const aims: { sighting: string; aim: Required<Aim> }[] = [];
  for (;;) {
    // the streams of chance are seeded: each pass takes the same readings again and one more
    const raw = rawReadings(
      instrument,
      settings,
      aims.map(({ aim }) => ({
        azimuth: degrees(aim.azimuth),
        inclination: degrees(aim.inclination),
        roll: degrees(aim.roll),
      })),
    );
    const readings: Reading[] = raw.map(({ acc, mag }, i) => ({
      id: String(i + 1),
      ...aims[i]!,
      acc,
      mag,
    }));
    if (readings.length === COUNT) return { settings, instrument, readings, raw };
    const result = readings.length < 8 ? undefined : fit(readings, DECLARED);
    const knowledge = result?.ok
      ? knowledgeFrom(result, readings)
      : knowledgeAfter(
          first,
          aims.map(({ sighting, aim }) => ({ sighting, attitude: attitudeOf(aim) })),
        );
    const { sighting, aim } = nextReading(knowledge)!;
    aims.push({ sighting, aim });
  }
}

function timeOfChoice(): Figure[] {
  const { readings } = simulateCalibration({ seed: 1 });
  const result = fit(readings, DECLARED);
  if (!result.ok) throw new Error(result.message);
  const cases: [string, Knowledge][] = [
    ['before any reading', nominalKnowledge({ noise: NOISE, dip: radians(65) })],
    ['after a fit of 56 readings', knowledgeFrom(result, readings)],
  ];
  return cases.map(([when, knowledge]) => {
    const times: number[] = [];
    for (let i = 0; i < 60; i++) {
      const start = process.cpuUsage();
      nextReading(knowledge);
      const { user, system } = process.cpuUsage(start);
      // the first passes only warm up
      if (i >= 20) times.push((user + system) / 1000);
    }
    times.sort((a, b) => a - b);
    return {
      what: `processor time of one choice of the next reading, ${when}, median of ${times.length}`,
      value: `${times[times.length / 2]!.toFixed(1)} ms`,
      beside: `at most ${times.at(-1)!.toFixed(1)} ms; under 50 ms wanted`,
    };
  });
}
