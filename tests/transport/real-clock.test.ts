import { expect, test } from 'vitest';
import { realClock } from '../../src/transport/real-clock.ts';

test('the machine’s clock goes on while a task waits, runs it, and forgets one called off', async () => {
  const done: string[] = [];
  const started = realClock.now();
  const callOff = realClock.after(0, () => done.push('called off'));
  callOff();
  await new Promise<void>((resolve) => void realClock.after(2, resolve));
  expect(done).toEqual([]);
  expect(realClock.now()).toBeGreaterThan(started);
});
