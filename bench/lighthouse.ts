import { mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import lighthouse, { desktopConfig, type Config } from 'lighthouse';
import { serveBuiltApp } from '../tests/browser/build-app.ts';
import { addEntries, makeLogbook } from '../tests/browser/logbook-by-hand.ts';
import { mortalChromium, type MortalChromium } from '../tests/browser/mortal-chromium.ts';
import type { Figure } from './figure.ts';
import { tenYears } from './ten-years-of-entries.ts';

const RUNS = 3;
/** Boards in the logbook that is looked at, ten years of each. */
const BOARDS = 10;
const CATEGORIES = ['performance', 'accessibility', 'best-practices'] as const;

const PAGES = [
  { page: 'the bench at its first load', address: '' },
  { page: `the logbook with ${BOARDS} boards`, address: '#logbook' },
];
const SETTINGS: readonly { setting: string; config?: Config }[] = [
  { setting: 'a phone' }, // Lighthouse's own default: a middling phone on a slow network
  { setting: 'a desktop', config: desktopConfig },
];

/** What Lighthouse says of the built app, served as it would be published, with the policy that it carries. */
export async function lighthouseScores(): Promise<Figure[]> {
  const folder = await mkdtemp(join(tmpdir(), 'lodebench-lighthouse-'));
  const app = await serveBuiltApp();
  const browser = await mortalChromium(join(folder, 'profile'));
  try {
    await fill(browser, app.url);
    const figures: Figure[] = [];
    for (const { page, address } of PAGES) {
      for (const { setting, config } of SETTINGS) {
        const runs: Scores[] = [];
        for (let run = 0; run < RUNS; run++) {
          runs.push(await look(`${app.url}${address}`, browser.port, config));
        }
        figures.push(...inWords(`${page}, as ${setting} has it`, runs));
      }
    }
    return figures;
  } finally {
    browser.kill();
    await browser.gone;
    await app.end();
    await rm(folder, { recursive: true, force: true });
  }
}

interface Scores {
  version: string;
  scores: Readonly<Record<(typeof CATEGORIES)[number], number>>;
  /** When the first and the largest content is painted, and how long the page then cannot answer, milliseconds. */
  times: readonly number[];
  /** Whatever cost points, but for the times. */
  objections: readonly string[];
}

/** One look at one page, in a browser that has nothing of the page but its database. */
async function look(url: string, port: number, config: Config | undefined): Promise<Scores> {
  const flags = { port, logLevel: 'error' as const, onlyCategories: [...CATEGORIES] };
  const result = await lighthouse(url, flags, config);
  if (!result) throw new Error('Lighthouse gave no result');
  const { audits, categories, lighthouseVersion, runtimeError } = result.lhr;
  if (runtimeError) throw new Error(runtimeError.message);
  const score = (name: (typeof CATEGORIES)[number]) => {
    const of = categories[name]?.score;
    if (typeof of !== 'number') throw new Error(`Lighthouse gave no score for ${name}`);
    return Math.round(of * 100);
  };
  const time = (id: string) => audits[id]?.numericValue ?? NaN;
  return {
    version: lighthouseVersion,
    scores: {
      performance: score('performance'),
      accessibility: score('accessibility'),
      'best-practices': score('best-practices'),
    },
    times: ['first-contentful-paint', 'largest-contentful-paint', 'total-blocking-time'].map(time),
    objections: CATEGORIES.slice(1).flatMap((name) =>
      (categories[name]?.auditRefs ?? []).flatMap(({ id, weight }) => {
        const audit = audits[id];
        return weight > 0 && audit?.score !== null && (audit?.score ?? 0) < 1 ? [id] : [];
      }),
    ),
  };
}

/** The worst of every category but speed, which the machine's other work makes waver: of that the middle one. */
function inWords(what: string, runs: readonly Scores[]): Figure[] {
  const middle = [...runs].sort((a, b) => a.scores.performance - b.scores.performance)[
    Math.floor(runs.length / 2)
  ]!;
  const worst = (name: (typeof CATEGORIES)[number]) =>
    Math.min(...runs.map(({ scores }) => scores[name]));
  const [first, largest, blocked] = middle.times.map((ms) => Math.round(ms).toLocaleString('en'));
  const objections = [...new Set(runs.flatMap((run) => run.objections))];
  const speeds = runs.map(({ scores }) => scores.performance);
  return [
    {
      what: `Lighthouse ${middle.version}, performance: ${what} (median of ${runs.length})`,
      value: String(middle.scores.performance),
      beside: `${Math.min(...speeds)} to ${Math.max(...speeds)}; first content after ${first} ms, the largest after ${largest} ms, blocked for ${blocked} ms; 95 or more wanted`,
    },
    {
      what: `accessibility and best practices, same runs (worst of ${runs.length})`,
      value: `${worst('accessibility')} and ${worst('best-practices')}`,
      beside: `95 or more wanted; objections: ${objections.join(', ') || 'none'}`,
    },
  ];
}

/** Puts boards into the logbook before the app is opened there for the first time. */
async function fill(browser: MortalChromium, url: string): Promise<void> {
  const page = await browser.blankPage(url);
  await makeLogbook(page, []);
  let boards = 0;
  for await (const entries of tenYears()) {
    await addEntries(page, entries);
    if (++boards === BOARDS) break;
  }
  await page.close();
}
