import { cpus, release, type } from 'node:os';
import { checkCourse } from './check-course.ts';
import { events } from './events.ts';
import type { Figure } from './figure.ts';
import { fitAccuracy } from './fit-accuracy.ts';
import { fitSpeed } from './fit-speed.ts';
import { hardBoards } from './hard-boards.ts';
import { intervals } from './intervals.ts';
import { initialScript } from './initial-script.ts';
import { lighthouseScores } from './lighthouse.ts';
import { lineParsing } from './line-parsing.ts';
import { liveFit } from './live-fit.ts';
import { modelChoice } from './model-choice.ts';
import { nextReadings } from './next-reading.ts';
import { nist } from './nist.ts';
import { screening } from './screening.ts';
import { soak } from './soak.ts';
import { tenYearsOfUse } from './ten-years.ts';

/** Prints every figure as one Markdown table: `npm run bench`, or `npm run bench -- accuracy` for one group. */

const groups: Record<string, () => Figure[] | Promise<Figure[]>> = {
  accuracy: fitAccuracy,
  boards: hardBoards,
  screening,
  intervals,
  model: modelChoice,
  planning: nextReadings,
  nist,
  speed: fitSpeed,
  course: checkCourse,
  parsing: lineParsing,
  soak,
  events,
  livefit: liveFit,
  script: initialScript,
  years: tenYearsOfUse,
  lighthouse: lighthouseScores,
};

const wanted = process.argv.slice(2);
const unknown = wanted.filter((name) => !(name in groups));
if (unknown.length > 0) {
  console.error(`No such group: ${unknown.join(', ')}. Groups: ${Object.keys(groups).join(', ')}.`);
  process.exit(2);
}
console.log(
  `${cpus()[0]?.model.trim() ?? 'unknown processor'}, ${cpus().length} cores, ${type()} ${release()}, Node ${process.version}\n`,
);
console.log('| figure | value | beside |\n| --- | --- | --- |');
for (const [name, measure] of Object.entries(groups)) {
  if (wanted.length > 0 && !wanted.includes(name)) continue;
  for (const { what, value, beside } of await measure()) {
    console.log(`| ${what} | ${value} | ${beside} |`);
  }
}
