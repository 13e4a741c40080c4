import { expect, test } from 'vitest';
import { cutIn, keptBoard, seededCut, TASKS, writesOf } from './power-cuts-app.ts';

/* A sample of tests/long/power-cuts-app.test.ts. */

const EACH = 6;

test.each(Object.keys(TASKS))(
  `power cut in a %s, ${EACH} times: the app says what became of it, and it is done in the end`,
  async (name) => {
    const from = await keptBoard();
    const writes = await writesOf(from, name);
    expect(writes).toBeGreaterThan(8);
    for (let seed = 0; seed < EACH; seed++) await cutIn(from, name, seededCut(writes, seed));
    await cutIn(from, name, { at: writes, reload: true });
  },
);
