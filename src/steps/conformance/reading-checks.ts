import type { Fields } from '../../protocol/line.ts';
import { messageFault } from './fields-of.ts';
import { expectAngles } from './request-checks.ts';
import { eventsOf, type Exchange } from './talk.ts';
import { memoryOf, type Check, type Trial } from './trial.ts';

/** Checks of SPEC.md, sections 4.1, 4.2, 5 and 6, that take readings and erase them again. */

/** A memory with room for more than this is not filled: that would take long, and wear it. */
const FILLED = 40;
/** SPEC.md, section 5: a board keeps at least so many events. */
const EVENTS_KEPT = 16;

/** The lines of the events among what came, without the check. */
const eventLines = ({ came }: Exchange): string[] =>
  came.filter(({ line }) => line?.kind === 'event').map(({ text }) => text);

/** Takes so many readings; gives the exchanges. */
async function captures(trial: Trial, count: number): Promise<Exchange[]> {
  const taken: Exchange[] = [];
  for (let i = 0; i < count; i++) {
    const exchange = await trial.ask('capture');
    trial.needOk(exchange);
    taken.push(exchange);
  }
  return taken;
}

const numberOf = (fields: Fields): number => Number(fields['reading']?.[0]);

export const readingChecks: readonly Check[] = [
  {
    name: 'capture in the wrong mode',
    section: '4.1',
    says: 'capture is refused with wrong_mode unless the mode is collect.',
    need: 'readings',
    async run(trial: Trial) {
      trial.ground.ledger.readings = true;
      await trial.hello();
      await trial.get('mode set=idle');
      const exchange = await trial.ask('capture');
      trial.expectError(exchange, 'wrong_mode');
    },
  },
  {
    name: 'hello ends collecting',
    section: '3',
    says: 'hello sets the mode to idle.',
    need: 'readings',
    async run(trial: Trial) {
      await trial.collect();
      await trial.hello();
      const exchange = await trial.ask('capture');
      trial.expect(
        exchange.answer?.ok === false,
        exchange,
        'error code=wrong_mode: hello sets the mode to idle.',
      );
    },
  },
  {
    name: 'capture typed by hand',
    section: '1.6',
    says: 'A board that keeps readings refuses a capture without a check with check_needed.',
    need: 'readings',
    async run(trial: Trial) {
      trial.need(trial.ground.found.can.includes('kept'), 'it does not keep readings');
      await trial.collect();
      trial.expectError(await trial.talk.type('capture'), 'check_needed');
    },
  },
  {
    name: 'capture',
    section: '4.1',
    says: 'capture takes a reading: it comes as an event before the answer, and the answer names its number.',
    need: 'readings',
    async run(trial: Trial) {
      await trial.collect();
      const exchange = await trial.ask('capture');
      const fields = trial.expectOk(exchange, 'capture');
      const answered = exchange.came.findIndex(({ line }) => line?.kind === 'answer');
      const events = eventsOf(exchange.came.slice(0, answered));
      const named = events.filter(({ event, fields: of }) => {
        return event === 'reading' && of['reading']?.[0] === fields?.['reading']?.[0];
      });
      trial.expect(!fields || named.length === 1, exchange);
    },
  },
  {
    name: 'a reading',
    section: '6',
    says: 'The event of a reading carries the fields of the table, each in its range.',
    need: 'readings',
    async run(trial: Trial) {
      await trial.collect();
      const exchange = await trial.ask('capture');
      trial.needOk(exchange);
      const event = eventsOf(exchange.came).find(({ event }) => event === 'reading');
      trial.need(event !== undefined, 'a capture brought no event before its answer');
      const fault = messageFault('reading', event.fields);
      trial.expect(fault === undefined, exchange, `The field ${fault}.`);
      const ranged = 'range_m' in event.fields && !trial.ground.found.can.includes('range');
      trial.expect(!ranged, exchange, 'range_m is absent on a board without the capability range.');
    },
  },
  {
    name: 'generation of a reading',
    section: '6',
    says: 'A reading carries the generation in force when it was taken.',
    need: 'readings',
    async run(trial: Trial) {
      const hello = await trial.hello();
      await trial.collect();
      const exchange = await trial.ask('capture');
      trial.needOk(exchange);
      const [event] = eventsOf(exchange.came);
      trial.need(event !== undefined, 'a capture brought no event before its answer');
      trial.expect(event.fields['generation']?.[0] === hello['generation']?.[0], exchange);
    },
  },
  {
    name: 'angles of a reading',
    section: '6.2',
    says: 'The angles of a reading are those that exactly the counts sent with it give with the coefficients in force.',
    need: 'readings',
    async run(trial: Trial) {
      await trial.collect();
      const exchange = await trial.ask('capture');
      trial.needOk(exchange);
      const [event] = eventsOf(exchange.came);
      trial.need(event !== undefined, 'a capture brought no event before its answer');
      const { inForce, generation } = trial.ground.found;
      if (generation === 0) {
        trial.expect(!('azimuth' in event.fields || 'roll' in event.fields), exchange);
        return;
      }
      trial.need(inForce !== undefined, 'the set in force could not be read');
      expectAngles(trial, exchange, event.fields, inForce);
    },
  },
  {
    name: 'numbers of readings',
    section: '4.2',
    says: 'Readings are numbered upwards by one.',
    need: 'readings',
    async run(trial: Trial) {
      await trial.collect();
      const taken = await captures(trial, 3);
      const numbers = taken.map(({ answer }) => numberOf(answer!.fields));
      trial.expect(
        numbers.every((n, i) => i === 0 || n === numbers[i - 1]! + 1),
        taken,
      );
    },
  },
  {
    name: 'capture repeated',
    section: '2.3',
    says: 'A repeated capture gets the same answer, and no second reading is taken.',
    need: 'readings',
    async run(trial: Trial) {
      await trial.collect();
      const tag = trial.talk.freshTag();
      const once = await trial.ask('capture', tag);
      const number = numberOf(trial.needOk(once));
      const again = await trial.ask('capture', tag);
      const events = eventsOf(again.came);
      const same = again.answer?.ok === true && numberOf(again.answer.fields) === number;
      trial.expect(same && events.length === 0, [once, again]);
    },
  },
  {
    name: 'the memory counts',
    section: '4.2',
    says: 'memory tells of each reading taken: count rises by one and room falls by one, first and last are its ends.',
    need: 'readings',
    async run(trial: Trial) {
      await trial.collect();
      const before = await trial.ask('memory');
      const { room } = memoryOf(trial.needOk(before));
      trial.need(room >= 2, 'it has no room for two readings');
      const [one, two] = await captures(trial, 2);
      const after = await trial.ask('memory');
      const memory = memoryOf(trial.needOk(after));
      const right =
        memory.count === 2 &&
        memory.room === room - 2 &&
        memory.first === numberOf(one!.answer!.fields) &&
        memory.last === numberOf(two!.answer!.fields);
      trial.expect(right, [before, one!, two!, after]);
    },
  },
  {
    name: 'a reading recalled',
    section: '4.2',
    says: 'recall gives the same reading as its event did, however often, and leaves it where it is.',
    need: 'readings',
    async run(trial: Trial) {
      await trial.collect();
      const exchange = await trial.ask('capture');
      trial.needOk(exchange);
      const [event] = eventsOf(exchange.came);
      trial.need(event !== undefined, 'a capture brought no event before its answer');
      for (let i = 0; i < 2; i++) {
        const recalled = await trial.ask(`recall reading=${numberOf(event.fields)}`);
        const fields = trial.expectOk(recalled);
        trial.expect(!fields || sameFields(fields, event.fields), [exchange, recalled]);
      }
    },
  },
  {
    name: 'events asked for again',
    section: '5',
    says: 'again sends the events asked for once more, unchanged, before its answer, which names the newest.',
    need: 'readings',
    async run(trial: Trial) {
      await trial.collect();
      const taken = await captures(trial, 3);
      const sent = taken.flatMap(eventLines);
      const numbers = taken.flatMap(({ came }) => eventsOf(came)).map(({ number }) => number);
      trial.need(sent.length === 3, 'three captures did not bring three events');
      const newest = Math.max(...numbers);
      for (const from of [numbers[0]!, numbers[1]!, newest + 1]) {
        const exchange = await trial.ask(`again from=${from}`);
        const fields = trial.expectOk(exchange);
        const named = fields?.['from']?.[0] === `${from}` && fields['to']?.[0] === `${newest}`;
        const wanted = sent.filter((_, i) => numbers[i]! >= from);
        const same = eventLines(exchange).join('\n') === wanted.join('\n');
        trial.expect(!fields || (named && same), exchange);
      }
      const beyond = await trial.ask(`again from=${newest + 2}`);
      trial.expectError(beyond, 'bad_field', { field: 'from' });
    },
  },
  {
    name: 'again repeated',
    section: '5',
    says: 'A repeat of again with the same tag gets the answer alone, without the events.',
    need: 'readings',
    async run(trial: Trial) {
      await trial.collect();
      await captures(trial, 2);
      const tag = trial.talk.freshTag();
      trial.needOk(await trial.ask('again from=1', tag));
      const repeat = await trial.ask('again from=1', tag);
      const alone = repeat.answer?.ok === true && eventsOf(repeat.came).length === 0;
      trial.expect(alone, repeat);
    },
  },
  {
    name: 'sixteen events kept',
    section: '5',
    says: 'A board keeps at least the latest sixteen events; asked for an older one it has no more, it says event_gone with the oldest it has.',
    need: 'readings',
    async run(trial: Trial) {
      await trial.collect();
      const { room } = await trial.memory();
      const count = EVENTS_KEPT + 1;
      const kept = trial.ground.found.can.includes('kept');
      trial.need(!kept || room >= count, `its memory has no room for ${count} readings`);
      const sent = (await captures(trial, count)).flatMap(eventLines);
      trial.need(sent.length === count, 'some captures did not bring one event each');
      const sixteen = await trial.ask('again from=2');
      const fields = trial.expectOk(sixteen);
      trial.expect(!fields || eventLines(sixteen).join() === sent.slice(1).join(), sixteen);
      const all = await trial.ask('again from=1');
      if (all.answer?.ok) trial.expect(eventLines(all).join() === sent.join(), all);
      else trial.expectError(all, 'event_gone', { oldest: '2' });
    },
  },
  {
    name: 'hello forgets the events',
    section: '3',
    says: 'hello clears the board’s memory of events, and starts their numbers again at 1.',
    need: 'readings',
    async run(trial: Trial) {
      await trial.collect();
      await captures(trial, 1);
      await trial.hello();
      const exchange = await trial.ask('again from=1');
      const fields = trial.needOk(exchange);
      trial.expect(fields['to']?.[0] === '0' && eventsOf(exchange.came).length === 0, exchange);
    },
  },
  {
    name: 'erase',
    section: '4.2',
    says: 'erase takes away every reading up to the number named and no other, and says how many.',
    need: 'readings',
    async run(trial: Trial) {
      await trial.collect();
      const taken = await captures(trial, 3);
      const [one, two, three] = taken.map(({ answer }) => numberOf(answer!.fields));
      const exchange = await trial.ask(`erase through=${two}`);
      const fields = trial.expectOk(exchange, 'erase');
      trial.expect(!fields || fields['erased']?.[0] === '2', exchange);
      trial.expectError(await trial.ask(`recall reading=${one}`), 'no_such_reading');
      trial.expectError(await trial.ask(`recall reading=${two}`), 'no_such_reading');
      trial.expectOk(await trial.ask(`recall reading=${three}`));
      const again = await trial.ask(`erase through=${two}`);
      trial.expect(
        again.answer?.fields['erased']?.[0] === '0',
        again,
        'erased=0: the range is empty by now.',
      );
    },
  },
  {
    name: 'erase beyond the last',
    section: '4',
    says: 'erase above the last number ever given is refused with no_such_reading, and erases nothing.',
    need: 'readings',
    async run(trial: Trial) {
      await trial.collect();
      const number = numberOf((await captures(trial, 1))[0]!.answer!.fields);
      const exchange = await trial.ask(`erase through=${number + 1}`);
      trial.expectError(exchange, 'no_such_reading');
      const look = await trial.ask('memory');
      trial.expect(memoryOf(trial.needOk(look)).count === 1, [exchange, look]);
    },
  },
  {
    name: 'numbers after an erase',
    section: '6',
    says: 'A number is never given twice, not even after an erase.',
    need: 'readings',
    async run(trial: Trial) {
      await trial.collect();
      const first = (await captures(trial, 1))[0]!;
      const number = numberOf(first.answer!.fields);
      const erased = await trial.ask(`erase through=${number}`);
      trial.needOk(erased);
      const [next] = await captures(trial, 1);
      trial.expect(numberOf(next!.answer!.fields) > number, [first, erased, next!]);
    },
  },
  {
    name: 'a full memory',
    section: '4.2',
    says: 'Memory that is full refuses new readings with memory_full; a board without kept memory lets the oldest fall out and counts it in dropped.',
    need: 'readings',
    async run(trial: Trial) {
      await trial.collect();
      const { room, dropped } = await trial.memory();
      trial.need(
        room <= FILLED,
        `it has room for ${room} readings, more than the ${FILLED} that are taken to fill it`,
      );
      const taken = await captures(trial, room);
      const full = await trial.ask('memory');
      const before = memoryOf(trial.needOk(full));
      trial.expect(
        before.room === 0 && before.count === room,
        full,
        'room=0 once as many readings were taken as there was room for.',
      );
      const exchange = await trial.ask('capture');
      const look = await trial.ask('memory');
      const after = memoryOf(trial.needOk(look));
      if (trial.ground.found.can.includes('kept')) {
        trial.expectError(exchange, 'memory_full');
        trial.expect(
          after.count === room && after.first === before.first,
          [exchange, look],
          'Nothing is overwritten.',
        );
      } else {
        trial.expectOk(exchange, 'capture');
        trial.expect(after.count === room && after.dropped === dropped + 1, [exchange, look]);
        const oldest = numberOf(taken[0]!.answer!.fields);
        trial.expectError(await trial.ask(`recall reading=${oldest}`), 'no_such_reading');
      }
    },
  },
  {
    name: 'the trigger',
    section: '4.1',
    says: 'In mode collect the board’s own trigger takes a reading, with the same event as a capture.',
    need: 'press',
    async run(trial: Trial) {
      await trial.collect();
      const { exchange, event } = await pressed(trial);
      trial.expect(event?.event === 'reading', exchange, `An event “reading”. ${UNPRESSED}`);
      const fault = event?.event === 'reading' ? messageFault('reading', event.fields) : undefined;
      trial.expect(fault === undefined, exchange, `The field ${fault}.`);
    },
  },
  {
    name: 'the trigger pressed in vain',
    section: '5',
    says: 'A trigger pressed in vain gives an event “refused” that says why: in mode idle, code=wrong_mode.',
    need: 'press',
    async run(trial: Trial) {
      trial.ground.ledger.readings = true;
      await trial.hello();
      const { exchange, event } = await pressed(trial);
      const right = event?.event === 'refused' && event.fields['code']?.[0] === 'wrong_mode';
      trial.expect(right, exchange, `An event “refused” with code=wrong_mode. ${UNPRESSED}`);
    },
  },
];

const UNPRESSED = 'If nobody pressed the trigger in time, check again.';

/** Has the trigger pressed, and waits for the event of it. */
async function pressed(trial: Trial) {
  const { talk, ground } = trial;
  const before = talk.heard.length;
  await ground.hands.press!();
  const listened = await talk.listen(new Uint8Array(), talk.captureMs + 700);
  const came = talk.heard.slice(before);
  const exchange: Exchange = { ...listened, sent: '(the trigger was pressed)', came };
  return { exchange, event: eventsOf(came)[0] };
}

/** The same fields with the same values. */
function sameFields(a: Fields, b: Fields): boolean {
  const sorted = (fields: Fields) =>
    JSON.stringify(Object.entries(fields).sort(([x], [y]) => (x < y ? -1 : 1)));
  return sorted(a) === sorted(b);
}
