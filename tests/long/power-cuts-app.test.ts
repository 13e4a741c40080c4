import { expect, test } from 'vitest';
import { cutIn, keptBoard, seededCut, TASKS, writesOf } from '../faults/power-cuts-app.ts';

test.each(Object.keys(TASKS))(
  'power cut at every write of a %s, the page closed or not, and in the start after it: told, and done in the end',
  async (name) => {
    const from = await keptBoard();
    const writes = await writesOf(from, name);
    const failures: string[] = [];
    const cuts = Array.from({ length: writes }, (_, i) => ({
      ...seededCut(writes, i),
      at: i + 1,
    }));
    for (const cut of cuts) {
      await cutIn(from, name, cut).catch((error: unknown) =>
        failures.push(`${JSON.stringify(cut)}: ${String(error)}`),
      );
    }
    expect(failures).toEqual([]);
  },
);
