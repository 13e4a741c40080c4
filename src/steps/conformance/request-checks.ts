import { judgeAngles, readSet } from './fields-of.ts';
import type { Check, StagedSet, Trial } from './trial.ts';
import { memoryOf, stagedSet } from './trial.ts';

/** Checks of SPEC.md, sections 4 and 6, that change nothing the board keeps. */

/** A bowed set of plain numbers. Only staged, never sealed. */
const BOWED: StagedSet = stagedSet('bowed', [
  ...[16384, 3400, 0.25, -0.125, 0.5],
  ...[1, 0, 0, 0, 1, 0, 0, 0, 1],
  ...[-0.5, 0.25, 0.125],
  ...[1, 0, 0, 0, -1, 0, 0, 0, -1],
  ...[0.0078125, -0.015625, 0.03125],
]);

/** The words with those at `place` (from 0) in the place of another. */
function replaced(words: string, place: number, word: string): string {
  return words.slice(0, 8 * place) + word + words.slice(8 * place + 8);
}

/** Requests with a field missing, malformed or out of range, and which field that is. */
function faultyRequests({
  words,
}: StagedSet): readonly (readonly [request: string, field: string])[] {
  const straight = (changed: string) => `stage model=straight words=${changed}`;
  return [
    ['mode', 'set'],
    ['mode set=', 'set'],
    ['mode set=sideways', 'set'],
    ['mode set=idle,collect', 'set'],
    ['recall', 'reading'],
    ['recall reading=x', 'reading'],
    ['recall reading=01', 'reading'],
    ['recall reading=0', 'reading'],
    ['recall reading=1.5', 'reading'],
    ['recall reading=10000000', 'reading'],
    ['again', 'from'],
    ['again from=0', 'from'],
    ['again from=-1', 'from'],
    ['again from=1000000', 'from'],
    ['coefficients', 'which'],
    ['coefficients which=best', 'which'],
    [`stage words=${words}`, 'model'],
    [`stage model=curved words=${words}`, 'model'],
    ['stage model=straight', 'words'],
    [straight(words.slice(8)), 'words'],
    [straight(words.slice(1)), 'words'],
    [`stage model=bowed words=${words}`, 'words'],
    [straight(replaced(words, 5, '7FC00000')), 'words'], // not a number
    [straight(replaced(words, 5, 'FF800000')), 'words'], // minus infinity
    [straight(replaced(words, 0, '00000000')), 'words'], // a scale of nought
    [straight(replaced(words, 1, 'C5548000')), 'words'], // a scale below nought
    [straight(replaced(words, 5, '3f800000')), 'words'], // lower case
  ];
}

/** Reads one set and holds it against what hello said of the generation. */
async function sayWhich(trial: Trial, which: 'in_force' | 'previous', there: boolean) {
  const exchange = await trial.ask(`coefficients which=${which}`);
  if (there) return { exchange, fields: trial.expectOk(exchange, 'coefficients') };
  trial.expectError(exchange, 'no_such_set');
  return { exchange };
}

export const requestChecks: readonly Check[] = [
  {
    name: 'mode',
    section: '4',
    says: 'mode sets idle or collect, and its answer says which.',
    need: 'always',
    async run(trial: Trial) {
      await trial.hello();
      for (const mode of ['idle', 'collect', 'collect', 'idle']) {
        const exchange = await trial.ask(`mode set=${mode}`);
        const fields = trial.expectOk(exchange, 'mode');
        trial.expect(!fields || fields['mode']?.[0] === mode, exchange);
      }
    },
  },
  {
    name: 'sense',
    section: '6',
    says: 'sense answers with the fields of a reading, each in its range, without reading and generation.',
    need: 'always',
    async run(trial: Trial) {
      await trial.hello();
      const exchange = await trial.ask('sense');
      const code = exchange.answer?.ok === false && exchange.answer.fields['code']?.[0];
      trial.need(
        code !== 'saturated',
        'a sensor is at the end of its range: take the board away from magnets and steel',
      );
      trial.need(code !== 'low_power', 'its supply is too low');
      const fields = trial.expectOk(exchange, 'sense');
      trial.expect(!fields || !('reading' in fields || 'generation' in fields), exchange);
      const ranged = fields && 'range_m' in fields;
      const wanted =
        'range_m is absent on a board that does not name range among its capabilities.';
      trial.expect(!ranged || trial.ground.found.can.includes('range'), exchange, wanted);
    },
  },
  {
    name: 'sense stores nothing',
    section: '4',
    says: 'Of sense nothing is stored.',
    need: 'always',
    async run(trial: Trial) {
      await trial.hello();
      const before = await trial.ask('memory');
      trial.needOk(before);
      trial.needOk(await trial.ask('sense'));
      const after = await trial.ask('memory');
      const same =
        JSON.stringify(memoryOf(trial.needOk(after))) ===
        JSON.stringify(memoryOf(before.answer!.fields));
      trial.expect(same, [before, after]);
    },
  },
  {
    name: 'angles of sense',
    section: '6.2',
    says: 'A board’s angles agree with those its own counts give with the coefficients in force: azimuth × cos inclination, inclination and roll within 0.01°. With generation 0 there are none.',
    need: 'always',
    async run(trial: Trial) {
      await trial.hello();
      const { inForce, generation } = trial.ground.found;
      const exchange = await trial.ask('sense');
      const fields = trial.needOk(exchange);
      if (generation === 0) {
        trial.expect(
          !('azimuth' in fields || 'inclination' in fields || 'roll' in fields),
          exchange,
        );
        return;
      }
      trial.need(inForce !== undefined, 'the set in force could not be read');
      expectAngles(trial, exchange, fields, inForce);
    },
  },
  {
    name: 'memory',
    section: '4.2',
    says: 'memory answers with first, last, count, room and dropped, which agree with one another: first and last are 0 when count is, and count is at most last − first + 1.',
    need: 'always',
    async run(trial: Trial) {
      await trial.hello();
      const exchange = await trial.ask('memory');
      const fields = trial.expectOk(exchange, 'memory');
      const dropped =
        fields && trial.ground.found.can.includes('kept') && fields['dropped']?.[0] !== '0';
      trial.expect(
        !dropped,
        exchange,
        'dropped=0: a board that keeps readings lets none fall out.',
      );
    },
  },
  {
    name: 'recall',
    section: '4.2',
    says: 'recall answers with the fields of the reading asked for, and leaves it where it is.',
    need: 'always',
    async run(trial: Trial) {
      await trial.hello();
      const before = await trial.memory();
      trial.need(before.count > 0, 'there is no reading in its memory');
      for (const number of new Set([before.first, before.last])) {
        const exchange = await trial.ask(`recall reading=${number}`);
        const fields = trial.expectOk(exchange, 'recall');
        trial.expect(!fields || fields['reading']?.[0] === String(number), exchange);
      }
      const look = await trial.ask('memory');
      const same = JSON.stringify(memoryOf(trial.needOk(look))) === JSON.stringify(before);
      trial.expect(same, look);
    },
  },
  {
    name: 'recall of what is not there',
    section: '4',
    says: 'recall of a reading that is not in the memory is refused with no_such_reading.',
    need: 'always',
    async run(trial: Trial) {
      await trial.hello();
      const { last, first } = await trial.memory();
      trial.need(last < 9_999_999, 'its memory holds the last number there can be');
      trial.expectError(await trial.ask(`recall reading=${last + 1}`), 'no_such_reading');
      trial.expectError(await trial.ask('recall reading=9999999'), 'no_such_reading');
      if (first > 1)
        trial.expectError(await trial.ask(`recall reading=${first - 1}`), 'no_such_reading');
    },
  },
  {
    name: 'again before any event',
    section: '4',
    says: 'With no event yet, again from=1 answers from=1 to=0, and from=2 is out of range.',
    need: 'always',
    async run(trial: Trial) {
      await trial.hello();
      const exchange = await trial.ask('again from=1');
      const fields = trial.expectOk(exchange, 'again');
      trial.expect(!fields || (fields['from']?.[0] === '1' && fields['to']?.[0] === '0'), exchange);
      trial.expectError(await trial.ask('again from=2'), 'bad_field', { field: 'from' });
    },
  },
  {
    name: 'the set in force',
    section: '4.3',
    says: 'coefficients which=in_force gives the set in force with its model, words and CRC, under the generation that hello names; with generation 0 there is none.',
    need: 'always',
    async run(trial: Trial) {
      const hello = await trial.hello();
      const generation = hello['generation']?.[0];
      const { exchange, fields } = await sayWhich(trial, 'in_force', generation !== '0');
      trial.expect(!fields || fields['generation']?.[0] === generation, exchange);
    },
  },
  {
    name: 'the previous set',
    section: '4.3',
    says: 'From generation 2 on, the set that was in force before is there as the previous one; until then there is none.',
    need: 'always',
    async run(trial: Trial) {
      const hello = await trial.hello();
      const generation = Number(hello['generation']?.[0]);
      const { exchange, fields } = await sayWhich(trial, 'previous', generation > 1);
      trial.expect(!fields || Number(fields['generation']?.[0]) < generation, exchange);
    },
  },
  {
    name: 'nothing staged',
    section: '4',
    says: 'With nothing staged, check is refused with nothing_staged, and coefficients which=staged with no_such_set.',
    need: 'always',
    async run(trial: Trial) {
      await trial.hello();
      trial.expectError(await trial.ask('check crc=00000000'), 'nothing_staged');
      trial.expectError(await trial.ask('coefficients which=staged'), 'no_such_set');
    },
  },
  {
    name: 'stage',
    section: '6.1',
    says: 'stage answers with the CRC-32/ISO-HDLC over one byte for the model (0x53 or 0x42) and the words, for a straight set of 26 words and a bowed one of 29.',
    need: 'always',
    async run(trial: Trial) {
      await trial.hello();
      for (const { model, words, crc } of [trial.ground.sets.own, BOWED]) {
        const exchange = await trial.ask(`stage model=${model} words=${words}`);
        const fields = trial.expectOk(exchange, 'stage');
        trial.expect(!fields || fields['crc']?.[0] === crc, exchange, `crc=${crc}`);
      }
    },
  },
  {
    name: 'what is staged',
    section: '4',
    says: 'coefficients which=staged gives the staged set word for word, with generation=0; stage replaces whatever was staged.',
    need: 'always',
    async run(trial: Trial) {
      await trial.hello();
      const { own, other } = trial.ground.sets;
      for (const set of [BOWED, own, other]) {
        await trial.stage(set);
        const exchange = await trial.ask('coefficients which=staged');
        const fields = trial.expectOk(exchange, 'coefficients');
        const { words, model } = set;
        const same =
          fields?.['words']?.[0] === words &&
          fields['model']?.[0] === model &&
          fields['generation']?.[0] === '0';
        trial.expect(!fields || same, exchange);
      }
    },
  },
  {
    name: 'check',
    section: '4',
    says: 'check with the CRC of the staged set answers with it; with any other it is refused with crc_mismatch.',
    need: 'always',
    async run(trial: Trial) {
      await trial.hello();
      const { own, other } = trial.ground.sets;
      await trial.stage(own);
      const right = await trial.ask(`check crc=${own.crc}`);
      const fields = trial.expectOk(right, 'check');
      trial.expect(!fields || fields['crc']?.[0] === own.crc, right);
      trial.expectError(await trial.ask(`check crc=${other.crc}`), 'crc_mismatch');
      trial.expectError(await trial.ask('check crc=00000000'), 'crc_mismatch');
    },
  },
  {
    name: 'fields missing, malformed or out of range',
    section: '4',
    says: 'A field that is missing, malformed or out of range is answered by error code=bad_field with field= its name, and changes nothing.',
    need: 'always',
    async run(trial: Trial) {
      await trial.hello();
      const { own } = trial.ground.sets;
      for (const [request, field] of faultyRequests(own)) {
        trial.expectError(await trial.ask(request), 'bad_field', { field });
      }
      const look = await trial.ask('coefficients which=staged');
      trial.expect(look.answer?.ok === false, look, 'Nothing is staged after all this.');
      await trial.stage(own);
      for (const request of ['check', 'check crc=123', `check crc=${own.crc}0`]) {
        trial.expectError(await trial.ask(request), 'bad_field', { field: 'crc' });
      }
      const host = trial.talk.freshHost();
      const greetings = [
        ['protocol=1', 'host'],
        ['host=12345 protocol=1', 'host'],
        [`host=${host}`, 'protocol'],
        [`host=${host} protocol=0`, 'protocol'],
        [`host=${host} protocol=100`, 'protocol'],
      ] as const;
      for (const [fields, field] of greetings) {
        trial.expectError(await trial.ask(`hello ${fields}`), 'bad_field', { field });
      }
    },
  },
  {
    name: 'erase of nothing',
    section: '4.2',
    says: 'erase of a range already empty answers erased=0.',
    need: 'empty',
    async run(trial: Trial) {
      await trial.hello();
      const exchange = await trial.ask('erase through=0');
      const fields = trial.expectOk(exchange, 'erase');
      trial.expect(!fields || fields['erased']?.[0] === '0', exchange);
    },
  },
  {
    name: 'erase typed by hand',
    section: '1.6',
    says: 'erase without a check is refused with check_needed.',
    need: 'empty',
    async run(trial: Trial) {
      await trial.hello();
      trial.expectError(await trial.talk.type('erase through=0'), 'check_needed');
    },
  },
  {
    name: 'erase out of range',
    section: '4',
    says: 'erase is refused with no_such_reading above the last number ever given, and with bad_field where through is missing, malformed or out of range.',
    need: 'empty',
    async run(trial: Trial) {
      await trial.hello();
      for (const request of [
        'erase',
        'erase through=x',
        'erase through=-1',
        'erase through=10000000',
      ]) {
        trial.expectError(await trial.ask(request), 'bad_field', { field: 'through' });
      }
      trial.expectError(await trial.ask('erase through=9999999'), 'no_such_reading');
    },
  },
];

/** Angles that agree; a check that has none to compare cannot be tried. */
export function expectAngles(
  trial: Trial,
  exchange: Parameters<Trial['expect']>[1],
  fields: Parameters<typeof judgeAngles>[0],
  set: NonNullable<ReturnType<typeof readSet>>,
): void {
  const { compared, fault } = judgeAngles(fields, set);
  trial.need(compared > 0, 'it sends no angles, or is held so steeply that they have no meaning');
  trial.expect(
    fault === undefined,
    exchange,
    fault && `${fault[0]!.toUpperCase()}${fault.slice(1)}.`,
  );
}
