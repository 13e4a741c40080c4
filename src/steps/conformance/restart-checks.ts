import { eventsOf, type Exchange } from './talk.ts';
import { memoryOf, type Check, type Trial } from './trial.ts';

/** Checks that need the board restarted: what it does before the first hello, and what it has kept. */

/** SPEC.md, section 4.4: how long after its answer a board may take to start again; and some for the link. */
const RESTART_MS = 2000 + 500;

/** Asks the board to start again, and waits until it must have. */
async function askToRestart(trial: Trial): Promise<Exchange> {
  const exchange = await trial.ask('restart');
  trial.needOk(exchange);
  await trial.talk.wait(RESTART_MS);
  return exchange;
}

export const restartChecks: readonly Check[] = [
  {
    name: 'restart',
    section: '4.4',
    says: 'restart is answered with ok; the board then starts again, within two seconds.',
    need: 'restart',
    async run(trial: Trial) {
      await trial.hello();
      const exchange = await trial.ask('restart');
      if (!trial.expectOk(exchange, 'restart')) return;
      await trial.talk.wait(RESTART_MS);
      await trial.talk.reopen();
      const look = await trial.ask('memory');
      const anew = look.answer?.ok === false && look.answer.fields['code']?.[0] === 'no_hello';
      trial.expect(anew, [exchange, look], 'error code=no_hello: the board has started again.');
    },
  },
  {
    name: 'before the first hello',
    section: '3',
    says: 'After a start a board sends nothing before its first hello, and refuses every other request with no_hello.',
    need: 'restart',
    async run(trial: Trial) {
      const { talk, ground } = trial;
      await trial.hello();
      ground.beforeRestart = { memory: await trial.memory() };
      if (ground.mayTakeReadings) {
        await trial.collect();
        const { reading } = await trial.get('capture');
        ground.beforeRestart = {
          reading: await trial.get(`recall reading=${reading?.[0]}`),
          memory: await trial.memory(),
        };
      }
      await trial.stage(ground.sets.own);
      if (ground.hands.restart) await ground.hands.restart();
      else await askToRestart(trial);
      const before = talk.heard.length;
      await talk.reopen();
      const unasked = { ...(await talk.listen()), came: talk.heard.slice(before) };
      trial.expect(unasked.came.length === 0, unasked);
      for (const request of ['memory', 'sense', 'mode set=collect']) {
        trial.expectError(await trial.ask(request), 'no_hello');
      }
    },
  },
  {
    name: 'kept coefficients',
    section: '4.3',
    says: 'Sealed sets survive loss of power, and their generation with them.',
    need: 'restart',
    async run(trial: Trial) {
      trial.need(trial.ground.beforeRestart !== undefined, 'the board was not restarted');
      const exchange = await trial.talk.hello();
      const generation = trial.needOk(exchange)['generation']?.[0];
      const { right } = trial.ground;
      trial.expect(generation === String(right?.generation ?? 0), exchange);
      if (!right) return;
      const look = await trial.ask('coefficients which=in_force');
      trial.expect(trial.needOk(look)['crc']?.[0] === right.crc, look);
    },
  },
  {
    name: 'what is staged is not kept',
    section: '3',
    says: 'What was staged and not sealed does not outlast a restart.',
    need: 'restart',
    async run(trial: Trial) {
      trial.need(trial.ground.beforeRestart !== undefined, 'the board was not restarted');
      const exchange = await trial.talk.hello();
      trial.needOk(exchange);
      await trial.expectNothingStaged(exchange);
    },
  },
  {
    name: 'kept readings',
    section: '7',
    says: 'Readings of a board that can keep them survive loss of power.',
    need: 'restart',
    async run(trial: Trial) {
      const { beforeRestart, found } = trial.ground;
      trial.need(beforeRestart?.memory !== undefined, 'the board was not restarted');
      trial.need(found.can.includes('kept'), 'it does not keep readings');
      trial.need(beforeRestart.memory.count > 0, 'there was no reading in its memory');
      await trial.hello();
      const look = await trial.ask('memory');
      const now = memoryOf(trial.needOk(look));
      const { count, first, last } = beforeRestart.memory;
      trial.expect(now.count === count && now.first === first && now.last === last, look);
      const { reading } = beforeRestart;
      if (!reading) return;
      const recalled = await trial.ask(`recall reading=${reading['reading']?.[0]}`);
      const fields = trial.expectOk(recalled);
      trial.expect(!fields || fields['acc']?.join() === reading['acc']?.join(), recalled);
    },
  },
  {
    name: 'numbers after a restart',
    section: '6',
    says: 'A number is never given twice, not even after a restart.',
    need: 'restart',
    async run(trial: Trial) {
      const { beforeRestart } = trial.ground;
      trial.need(beforeRestart !== undefined, 'the board was not restarted');
      const { reading } = beforeRestart;
      trial.need(
        reading !== undefined,
        'no reading was taken before it, for want of consent or of an empty memory',
      );
      await trial.collect();
      const exchange = await trial.ask('capture');
      const [event] = eventsOf(exchange.came);
      trial.needOk(exchange);
      trial.expect(
        Number(event?.fields['reading']?.[0]) > Number(reading['reading']?.[0]),
        exchange,
      );
    },
  },
];
