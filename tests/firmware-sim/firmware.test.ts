import { describe, expect, test } from 'vitest';
import { setCrc, VERBS } from '../../src/protocol/messages.ts';
import { boardAngles } from '../../firmware-sim/angles.ts';
import { numbers, plainSet, read, Terminal, withCheck } from './terminal.ts';

const codeOf = (line: string): string | undefined => {
  const answer = read(line);
  return answer.kind === 'answer' && !answer.ok ? answer.fields.code?.[0] : undefined;
};

describe('lines', () => {
  test('a line typed without a check is answered, with a check', () => {
    const terminal = new Terminal();
    const [answer] = terminal.type('?1 hello host=00000001 protocol=1\n');
    expect(answer).toMatch(
      /^=1 ok host=00000001 protocol=1 serial=SIM-[0-9A-F]{8} .* #[0-9A-F]{4}$/,
    );
  });

  test('a damaged line is answered as such, and nothing is done', () => {
    const terminal = new Terminal().collect();
    const good = withCheck('?50 mode set=idle');
    const [answer, ...more] = terminal.type(`${good.replace('idle', 'idlf')}\n`);
    expect(answer).toMatch(/^=0 error code=bad_check #/);
    expect(more).toEqual([]);
    expect(terminal.ask('capture').ok).toBe(true);
  });

  test.each([
    ['no request', 'hello\n'],
    ['an answer', '=1 ok\n'],
    ['an event', '!1 reading\n'],
    ['a request without a tag', '?0 memory\n'],
    ['a field twice', '?1 mode set=idle set=idle\n'],
    ['a byte outside printable ASCII', '?1 mode\tset=idle\n'],
    ['a line longer than 320 bytes', `?1 mode set=idle x=${'a'.repeat(320)}\n`],
  ])('%s is answered as a bad line', (_, text) => {
    const terminal = new Terminal();
    terminal.hello();
    expect(terminal.type(text).map(codeOf)).toEqual(['bad_line']);
  });

  test('after a line too long the next one is read from its beginning', () => {
    const terminal = new Terminal();
    terminal.hello();
    const lines = terminal.type(`${'x'.repeat(1000)}\n${withCheck('?9 memory')}\n`);
    expect(codeOf(lines[0]!)).toBe('bad_line');
    expect(read(lines[1]!)).toMatchObject({ kind: 'answer', tag: 9, ok: true });
  });

  test('empty lines mean nothing, and clear half a line out of the board', () => {
    const terminal = new Terminal();
    terminal.hello();
    expect(terminal.type('\n\r\n')).toEqual([]);
    expect(terminal.type('?12 mem').length).toBe(0);
    expect(codeOf(terminal.type('\n')[0]!)).toBe('unknown_verb');
    expect(terminal.ask('memory').ok).toBe(true);
  });
});

describe('hello', () => {
  test('says who the board is, what it can and how it counts', () => {
    const { fields } = new Terminal().ask('hello host=89ABCDEF protocol=7');
    const identity = VERBS.hello.answer.read(fields);
    expect(identity).toMatchObject({
      host: 0x89abcdef,
      protocol: 1,
      name: 'Simulated board',
      capabilities: ['kept', 'trigger', 'settings', 'image'],
      accScale: 16384,
      magScale: 3400,
      accMounting: '-x-y-z',
      magMounting: '+y-x+z',
      generation: 0,
    });
    expect(identity.accNoise).toBeCloseTo(16.38, 2);
    expect(identity.magNoise).toBeCloseTo(6.8, 2);
  });

  test('a board whose maker does not say how the chips sit leaves it out', () => {
    const fields = new Terminal({}, { build: { declaresMounting: false } }).hello();
    expect(fields.acc_mount).toBeUndefined();
    expect(fields.mag_mount).toBeUndefined();
  });

  test('comes before anything else', () => {
    const terminal = new Terminal();
    expect(terminal.refusal('memory')).toBe('no_hello');
    terminal.hello();
    expect(terminal.refusal('memory')).toBeUndefined();
    terminal.board.restart();
    terminal.connect();
    expect(terminal.refusal('memory')).toBe('no_hello');
  });

  test('starts afresh: idle, nothing staged, events from 1, tags forgotten', () => {
    const terminal = new Terminal().collect();
    terminal.capture();
    terminal.stage(plainSet());
    terminal.type(`${withCheck('?900 memory')}\n`);
    terminal.hello();
    expect(terminal.refusal('capture')).toBe('wrong_mode');
    expect(terminal.refusal('coefficients which=staged')).toBe('no_such_set');
    expect(codeOf(terminal.type(`${withCheck('?900 mode set=collect')}\n`)[0]!)).toBeUndefined();
    const { events } = terminal.ask('capture');
    expect(events).toMatchObject([{ kind: 'event', number: 1, fields: { reading: ['2'] } }]);
  });

  test('is answered under a tag that another host has used', () => {
    const terminal = new Terminal();
    terminal.type(`${withCheck('?1 hello host=00000001 protocol=1')}\n`);
    const [answer] = terminal.type(`${withCheck('?1 hello host=00000002 protocol=1')}\n`);
    expect(read(answer!)).toMatchObject({ ok: true, fields: { host: ['00000002'] } });
  });

  test('ends a capture under way, whose reading is then not kept', () => {
    const terminal = new Terminal().collect();
    const lines = terminal.type(
      `${withCheck('?800 capture')}\n${withCheck('?801 hello host=00000003 protocol=1')}\n`,
    );
    expect(lines.map(read)).toMatchObject([{ kind: 'answer', tag: 801 }]);
    expect(terminal.ask('memory').fields.count).toEqual(['0']);
  });

  test('repeated at once gives the same answer; word for word later, it opens a new conversation', () => {
    const terminal = new Terminal();
    const hello = `${withCheck('?1 hello host=00000001 protocol=1')}\n`;
    terminal.type(hello);
    terminal.type(`${withCheck('?2 mode set=collect')}\n`);
    terminal.type(hello);
    // the new conversation is idle and knows no tag but its own
    const [mode, capture] = terminal.type(
      `${withCheck('?2 mode set=idle')}\n${withCheck('?3 capture')}\n`,
    );
    expect(read(mode!)).toMatchObject({ tag: 2, ok: true });
    expect(codeOf(capture!)).toBe('wrong_mode');
    // a repeat, nothing between: nothing is reset
    const again = new Terminal();
    const [first, second] = [again.type(hello), again.type(hello)];
    expect(second).toEqual(first);
  });

  test.each(['hello', 'hello host=1 protocol=1', 'hello host=00000001 protocol=0'])(
    '“%s” is no hello',
    (request) => {
      expect(new Terminal().refusal(request)).toBe('bad_field');
    },
  );
});

describe('tags', () => {
  test('a repeated capture gets the same answer and takes no second reading', () => {
    const terminal = new Terminal().collect();
    const line = `${withCheck('?77 capture')}\n`;
    const first = terminal.type(line);
    const second = terminal.type(line);
    expect(first.map((text) => text[0])).toEqual(['!', '=']);
    expect(second).toEqual([first[1]]);
    expect(terminal.ask('memory').fields.count).toEqual(['1']);
  });

  test('a capture repeated while it is under way is answered once, when it is done', () => {
    const terminal = new Terminal().collect();
    const line = `${withCheck('?77 capture')}\n`;
    expect(terminal.type(line + line).map((text) => text.slice(0, 2))).toEqual(['!1', '=7']);
    expect(terminal.ask('memory').fields.count).toEqual(['1']);
  });

  test('a repeated seal is not carried out twice', () => {
    const terminal = new Terminal();
    terminal.hello();
    terminal.stage(plainSet());
    const line = `${withCheck(`?77 seal replaces=0 crc=${setCrc(plainSet())}`)}\n`;
    const answers = [...terminal.type(line), ...terminal.type(line)];
    expect(answers[0]).toMatch(/^=77 ok generation=1 #/);
    expect(answers[1]).toBe(answers[0]);
    expect(terminal.ask('coefficients which=in_force').fields.generation).toEqual(['1']);
  });

  test('a remembered tag on another request is refused, and that request is not carried out', () => {
    const terminal = new Terminal();
    terminal.hello();
    terminal.type(`${withCheck('?77 memory')}\n`);
    const [answer] = terminal.type(`${withCheck('?77 mode set=collect')}\n`);
    expect(codeOf(answer!)).toBe('tag_reused');
    expect(terminal.refusal('capture')).toBe('wrong_mode');
  });

  test('eight are remembered, the ninth latest is forgotten', () => {
    const terminal = new Terminal();
    terminal.hello();
    const tell = (tag: number, set: string) =>
      codeOf(terminal.type(`${withCheck(`?${tag} mode set=${set}`)}\n`)[0]!);
    for (let tag = 100; tag < 109; tag++) expect(tell(tag, 'idle')).toBeUndefined();
    expect(tell(101, 'collect')).toBe('tag_reused');
    expect(tell(100, 'collect')).toBeUndefined();
  });
});

describe('what is refused', () => {
  test.each([
    ['dance', 'unknown_verb'],
    ['constructor', 'unknown_verb'],
    ['mode', 'bad_field'],
    ['mode set=asleep', 'bad_field'],
    ['recall reading=0', 'bad_field'],
    ['recall reading=1e3', 'bad_field'],
    ['recall reading=1', 'no_such_reading'],
    ['erase through=1', 'no_such_reading'],
    ['capture', 'wrong_mode'],
    ['coefficients which=in_force', 'no_such_set'],
    ['coefficients which=previous', 'no_such_set'],
    ['coefficients which=staged', 'no_such_set'],
    ['check crc=00000000', 'nothing_staged'],
    ['seal replaces=0 crc=00000000', 'not_checked'],
    ['seal replaces=1 crc=00000000', 'stale_generation'],
    ['revert replaces=0', 'no_such_set'],
    ['revert replaces=3', 'stale_generation'],
    ['again from=2', 'bad_field'],
  ])('%s: %s', (request, code) => {
    const terminal = new Terminal();
    terminal.hello();
    expect(terminal.refusal(request)).toBe(code);
  });

  test('bad_field names the field', () => {
    const terminal = new Terminal();
    terminal.hello();
    expect(terminal.ask('mode set=asleep').fields).toEqual({ code: ['bad_field'], field: ['set'] });
  });

  test.each(['capture', 'erase through=0', 'seal replaces=0 crc=00000000', 'revert replaces=0'])(
    '%s without a check, since it changes kept memory',
    (request) => {
      const terminal = new Terminal().collect();
      const writes = terminal.board.memoryWrites;
      expect(terminal.type(`?500 ${request}\n`).map(codeOf)).toEqual(['check_needed']);
      expect(terminal.board.memoryWrites).toBe(writes);
    },
  );

  test('anything else while a capture is under way', () => {
    const terminal = new Terminal().collect();
    const lines = terminal.type(`${withCheck('?500 capture')}\n${withCheck('?501 memory')}\n`);
    expect(codeOf(lines[0]!)).toBe('busy');
    expect(lines.map((line) => line.slice(0, 4))).toEqual(['=501', '!1 r', '=500']);
  });

  test('to measure or to write while the supply is low, and the board says that it is', () => {
    const terminal = new Terminal().collect();
    terminal.capture();
    terminal.board.quirk({ volt: 3.1 });
    const event = terminal.type('\n').map(read);
    expect(event).toMatchObject([{ kind: 'event', event: 'power', fields: { volt: ['3.1'] } }]);
    for (const request of ['sense', 'capture', 'erase through=1']) {
      expect(terminal.refusal(request)).toBe('low_power');
    }
    expect(terminal.ask('memory').ok).toBe(true);
    terminal.board.quirk({ volt: 3.9 });
    expect(terminal.ask('capture').ok).toBe(true);
  });

  test('a reading at the end of a sensor’s range, which uses up no number', () => {
    const terminal = new Terminal({}, { quirks: { fieldStrength: 12 } }).collect();
    expect(terminal.refusal('capture')).toBe('saturated');
    expect(terminal.refusal('sense')).toBe('saturated');
    terminal.board.quirk({ fieldStrength: 1 });
    expect(terminal.capture().reading).toEqual(['1']);
  });
});

describe('readings', () => {
  test('a capture takes its time, tells the reading as an event, and then answers with its number', () => {
    const terminal = new Terminal().collect();
    const started = terminal.clock.now();
    const { fields, events } = terminal.ask('capture');
    expect(fields).toEqual({ reading: ['1'] });
    expect(events).toHaveLength(1);
    const [event] = events;
    expect(event).toMatchObject({ number: 1, event: 'reading' });
    expect(Object.keys(event!.fields).sort()).toEqual(
      'acc acc_scatter generation mag mag_scatter reading samples t_ms temp_c volt'.split(' '),
    );
    expect(numbers(event!.fields, 't_ms')[0]).toBe(started + 300);
  });

  test('sense gives a reading without a number and stores nothing', () => {
    const terminal = new Terminal();
    terminal.hello();
    const writes = terminal.board.memoryWrites;
    const { fields, events } = terminal.ask('sense');
    expect(fields.acc).toHaveLength(3);
    expect(fields.reading).toBeUndefined();
    expect(events).toEqual([]);
    expect(terminal.board.memoryWrites).toBe(writes);
  });

  test('are recalled word for word, and gone when erased', () => {
    const terminal = new Terminal().collect();
    const told = [terminal.capture(), terminal.capture(), terminal.capture()];
    expect(terminal.ask('memory').fields).toEqual({
      first: ['1'],
      last: ['3'],
      count: ['3'],
      room: ['247'],
      dropped: ['0'],
    });
    told.forEach((fields, i) => {
      expect(terminal.ask(`recall reading=${i + 1}`).fields).toEqual(fields);
    });
    expect(terminal.ask('erase through=2').fields).toEqual({ erased: ['2'] });
    expect(terminal.ask('erase through=2').fields).toEqual({ erased: ['0'] });
    expect(terminal.refusal('recall reading=2')).toBe('no_such_reading');
    expect(terminal.ask('recall reading=3').fields).toEqual(told[2]);
    expect(terminal.ask('erase through=3').fields).toEqual({ erased: ['1'] });
    expect(terminal.capture().reading).toEqual(['4']);
  });

  test('a full memory refuses new ones and loses none', () => {
    const terminal = new Terminal({}, { build: { places: 3 } }).collect();
    for (let n = 1; n <= 3; n++) terminal.capture();
    expect(terminal.refusal('capture')).toBe('memory_full');
    void terminal.board.press();
    expect(terminal.type('\n').map(read)).toMatchObject([
      { event: 'refused', fields: { code: ['memory_full'] } },
    ]);
    expect(terminal.ask('memory').fields).toMatchObject({
      first: ['1'],
      count: ['3'],
      room: ['0'],
    });
    terminal.ask('erase through=1');
    expect(terminal.capture().reading).toEqual(['4']);
  });

  test('survive loss of power, and their numbers go on', () => {
    const terminal = new Terminal().collect();
    const told = terminal.capture();
    terminal.board.restart();
    terminal.connect();
    terminal.collect();
    expect(terminal.ask('recall reading=1').fields).toEqual(told);
    expect(terminal.capture().reading).toEqual(['2']);
  });

  test('come from the trigger too, in mode collect; otherwise the board says why not', () => {
    const terminal = new Terminal();
    terminal.hello();
    void terminal.board.press();
    expect(terminal.type('\n').map(read)).toMatchObject([
      { number: 1, event: 'refused', fields: { code: ['wrong_mode'] } },
    ]);
    terminal.ask('mode set=collect');
    void terminal.board.press();
    void terminal.board.press();
    expect(terminal.type('\n').map(read)).toMatchObject([
      { number: 2, event: 'refused', fields: { code: ['busy'] } },
      { number: 3, event: 'reading', fields: { reading: ['1'] } },
    ]);
  });

  test('carry the range on a board that has one, with what its module is off by', () => {
    const terminal = new Terminal({}, { build: { hasRange: true } }).collect();
    terminal.board.quirk({ rangeError: { constant: 0.1, scale: 0 } });
    expect(terminal.hello().can).toContain('range');
    terminal.ask('mode set=collect');
    const told = terminal.capture();
    expect(Math.abs(numbers(told, 'range_m')[0]! - 5.1)).toBeLessThan(0.02);
    expect(terminal.ask('recall reading=1').fields).toEqual(told);
  });

  test('carry angles by the coefficients in force, from exactly the counts sent', () => {
    const terminal = new Terminal({ accMounting: '+x+y+z', magMounting: '+x+y+z' }).collect();
    expect(terminal.capture().azimuth).toBeUndefined();
    const set = plainSet({ 2: 0.01, 6: 0.02, 14: -0.1 });
    expect(terminal.seal(set, 0)).toBe(true);
    void terminal.board.hold({ azimuth: 123, inclination: 20, roll: 200 });
    const told = terminal.capture();
    expect(told.generation).toEqual(['1']);
    const angles = boardAngles(set, {
      acc: numbers(told, 'acc') as never,
      mag: numbers(told, 'mag') as never,
    });
    for (const name of ['azimuth', 'inclination', 'roll'] as const) {
      expect(told[name]).toEqual([String(Number(angles[name]!.toFixed(3)))]);
    }
  });
});

describe('a board that does not keep its readings', () => {
  const ring = () => new Terminal({}, { build: { keepsReadings: false, places: 3 } });

  test('says so, and takes a reading for a line typed by hand', () => {
    const terminal = ring();
    expect(terminal.hello().can).toEqual(['trigger', 'settings', 'image']);
    terminal.ask('mode set=collect');
    const lines = terminal.type('?500 capture\n').map(read);
    expect(lines).toMatchObject([
      { kind: 'event', event: 'reading' },
      { tag: 500, ok: true },
    ]);
  });

  test('holds the latest, and counts those that fell out unseen', () => {
    const terminal = ring().collect();
    const told = [1, 2, 3, 4, 5].map(() => terminal.capture());
    expect(terminal.ask('memory').fields).toEqual({
      first: ['3'],
      last: ['5'],
      count: ['3'],
      room: ['0'],
      dropped: ['2'],
    });
    expect(terminal.refusal('recall reading=2')).toBe('no_such_reading');
    expect(terminal.ask('recall reading=4').fields).toEqual(told[3]);
    expect(terminal.ask('erase through=4').fields).toEqual({ erased: ['2'] });
    expect(terminal.ask('memory').fields).toMatchObject({ first: ['5'], room: ['2'] });
  });

  test('loses them with its power, but gives none of their numbers again', () => {
    const terminal = ring().collect();
    terminal.capture();
    const last = Number(terminal.capture().reading);
    terminal.board.restart();
    terminal.connect();
    terminal.collect();
    expect(terminal.ask('memory').fields.count).toEqual(['0']);
    expect(Number(terminal.capture().reading)).toBeGreaterThan(last);
  });
});

test('an azimuth a hair west of north is sent as 0, not as 360, and recalled so', () => {
  const terminal = new Terminal(
    { accMounting: '+x+y+z', magMounting: '+x+y+z', accNoise: 0, magNoise: 0 },
    { build: { perfect: true } },
  ).collect();
  // The magnetometer's offset to the right, −2.2e-6 of a field whose level part is 0.42: −0.0003°.
  terminal.seal(plainSet({ 15: -2.2e-6 }), 0);
  expect(terminal.capture().azimuth).toEqual(['0']);
  expect(terminal.ask('recall reading=1').fields.azimuth).toEqual(['0']);
});

describe('events', () => {
  test('are sent again word for word, in order, before the answer', () => {
    const terminal = new Terminal().collect();
    const lines = [1, 2, 3].map((n) => terminal.type(`${withCheck(`?${600 + n} capture`)}\n`)[0]!);
    const again = terminal.type(`${withCheck('?700 again from=2')}\n`);
    expect(again.slice(0, 2)).toEqual(lines.slice(1));
    expect(read(again[2]!)).toMatchObject({
      tag: 700,
      ok: true,
      fields: { from: ['2'], to: ['3'] },
    });
  });

  test('none is sent when the host has them all', () => {
    const terminal = new Terminal().collect();
    terminal.capture();
    const { fields, events } = terminal.ask('again from=2');
    expect(fields).toEqual({ from: ['2'], to: ['1'] });
    expect(events).toEqual([]);
  });

  test('the latest sixteen are kept; older ones are gone, and the board says which is the oldest', () => {
    const terminal = new Terminal();
    terminal.hello();
    for (let n = 1; n <= 18; n++) void terminal.board.press();
    expect(terminal.ask('again from=2').fields).toEqual({ code: ['event_gone'], oldest: ['3'] });
    expect(terminal.ask('again from=3').events).toHaveLength(16);
  });
});

describe('coefficients', () => {
  const [one, two] = [plainSet({ 2: 0.01 }), plainSet({ 2: 0.02 })];

  test('are staged, checked, sealed, and then in force; the generation before stays', () => {
    const terminal = new Terminal();
    terminal.hello();
    terminal.stage(one);
    const staged = terminal.ask('coefficients which=staged').fields;
    expect(VERBS.coefficients.answer.read(staged)).toEqual({
      ...one,
      generation: 0,
      crc: setCrc(one),
    });
    expect(terminal.refusal('coefficients which=in_force')).toBe('no_such_set');
    expect(terminal.ask(`seal replaces=0 crc=${setCrc(one)}`).fields).toEqual({
      generation: ['1'],
    });
    expect(terminal.refusal('coefficients which=staged')).toBe('no_such_set');
    expect(terminal.seal(two, 1)).toBe(true);
    const which = (name: string) =>
      VERBS.coefficients.answer.read(terminal.ask(`coefficients which=${name}`).fields);
    expect(which('in_force')).toEqual({ ...two, generation: 2, crc: setCrc(two) });
    expect(which('previous')).toEqual({ ...one, generation: 1, crc: setCrc(one) });
    expect(terminal.hello().generation).toEqual(['2']);
  });

  test('are not sealed unchecked, nor when others were checked, nor over a generation not named', () => {
    const terminal = new Terminal();
    terminal.hello();
    const words = (set: typeof one) => VERBS.stage.request.write(set).words;
    terminal.ask(`stage model=straight words=${String(words(one))}`);
    expect(terminal.refusal(`seal replaces=0 crc=${setCrc(one)}`)).toBe('not_checked');
    expect(terminal.refusal(`check crc=${setCrc(two)}`)).toBe('crc_mismatch');
    expect(terminal.refusal(`seal replaces=0 crc=${setCrc(one)}`)).toBe('not_checked');
    expect(terminal.ask(`check crc=${setCrc(one)}`).ok).toBe(true);
    expect(terminal.refusal(`seal replaces=0 crc=${setCrc(two)}`)).toBe('crc_mismatch');
    expect(terminal.ask(`seal replaces=4 crc=${setCrc(one)}`).fields).toEqual({
      code: ['stale_generation'],
      generation: ['0'],
    });
    // Staging anew undoes the check.
    terminal.ask(`stage model=straight words=${String(words(two))}`);
    expect(terminal.refusal(`seal replaces=0 crc=${setCrc(two)}`)).toBe('not_checked');
    expect(terminal.refusal('coefficients which=in_force')).toBe('no_such_set');
  });

  test('come back with revert, under a new number, and revert once more undoes it', () => {
    const terminal = new Terminal();
    terminal.hello();
    terminal.seal(one, 0);
    expect(terminal.refusal('revert replaces=1')).toBe('no_such_set');
    terminal.seal(two, 1);
    expect(terminal.ask('revert replaces=2').fields).toEqual({ generation: ['3'] });
    expect(terminal.ask('coefficients which=in_force').fields.crc).toEqual([setCrc(one)]);
    expect(terminal.refusal('revert replaces=2')).toBe('stale_generation');
    expect(terminal.ask('revert replaces=3').fields).toEqual({ generation: ['4'] });
    expect(terminal.ask('coefficients which=in_force').fields.crc).toEqual([setCrc(two)]);
  });

  test('a bowed set is stored with its curvature', () => {
    const terminal = new Terminal();
    terminal.hello();
    const bowed = { model: 'bowed' as const, values: [...one.values, 0.5, -0.25, 0] };
    expect(terminal.seal(bowed, 0)).toBe(true);
    const { fields } = terminal.ask('coefficients which=in_force');
    expect(VERBS.coefficients.answer.read(fields)).toMatchObject(bowed);
  });
});
