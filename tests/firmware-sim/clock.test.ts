import { expect, test } from 'vitest';
import { VirtualClock } from '../../firmware-sim/clock.ts';

test('tasks run when they fall due, in the order of their times and then of their asking', () => {
  const clock = new VirtualClock();
  const done: string[] = [];
  clock.after(20, () => done.push(`late at ${clock.now()}`));
  clock.after(10, () => done.push(`first at ${clock.now()}`));
  clock.after(10, () => done.push(`second at ${clock.now()}`));
  clock.advance(15);
  expect(done).toEqual(['first at 10', 'second at 10']);
  expect(clock.now()).toBe(15);
  clock.advance(5);
  expect(done.at(-1)).toBe('late at 20');
});

test('a task that was called off does not run, and one asked for by a task does', () => {
  const clock = new VirtualClock();
  const done: string[] = [];
  const callOff = clock.after(5, () => done.push('called off'));
  clock.after(5, () => clock.after(5, () => done.push('asked for later')));
  callOff();
  clock.advance(10);
  expect(done).toEqual(['asked for later']);
});

test('run lets time pass as far as the work needs, and no further', async () => {
  const clock = new VirtualClock();
  const wait = (ms: number) => new Promise<void>((resolve) => void clock.after(ms, resolve));
  clock.after(10_000, () => {
    throw new Error('Nobody waited this long.');
  });
  const work = async () => {
    await wait(300);
    await wait(700);
    return clock.now();
  };
  expect(await clock.run(work())).toBe(1000);
});

test('work that fails, fails; work that waits for nothing is told apart from work that is slow', async () => {
  const clock = new VirtualClock();
  await expect(clock.run(Promise.reject(new Error('no such board')))).rejects.toThrow(
    'no such board',
  );
  await expect(clock.run(new Promise(() => {}))).rejects.toThrow('nothing left to run');
});

test('a task cannot be due in the past', () => {
  expect(() => new VirtualClock().after(-1, () => {})).toThrow(RangeError);
  expect(() => new VirtualClock().after(NaN, () => {})).toThrow(RangeError);
});
