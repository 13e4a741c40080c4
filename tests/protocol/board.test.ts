import { describe, expect, test } from 'vitest';
import {
  linkBoard,
  readAllFrom,
  sealOutcome,
  type Board,
  type BoardNotice,
  type BoardReading,
  type StoredSet,
} from '../../src/protocol/board.ts';
import type { CoefficientSet } from '../../src/protocol/coefficient-set.ts';
import type { ProtocolError } from '../../src/protocol/errors.ts';
import { EVENTS, setCrc, VERBS } from '../../src/protocol/messages.ts';
import { IDENTITY, reading, ScriptedBoard } from './scripted-board.ts';
import { VirtualClock } from './virtual-clock.ts';

const SET: CoefficientSet = {
  model: 'straight',
  values: [16384, 3000, ...Array.from({ length: 24 }, (_, at) => at / 8)],
};
const CRC = setCrc(SET);

async function linked(scripted = new ScriptedBoard()) {
  const clock = new VirtualClock();
  const readings: BoardReading[] = [];
  const notices: BoardNotice[] = [];
  const troubles: ProtocolError[] = [];
  const losses: ProtocolError[] = [];
  const board = await clock.until(
    linkBoard(scripted.link, {
      clock,
      random: () => 0.25,
      onReading: (each) => readings.push(each),
      onEvent: (notice) => notices.push(notice),
      onTrouble: (error) => troubles.push(error),
      onLost: (error) => losses.push(error),
    }),
  );
  /** How a piece of work ended, once the clock has run that far. */
  const end = <T>(work: Promise<T>): Promise<T | ProtocolError> =>
    clock.until(work.catch((error: ProtocolError) => error));
  const numbers = () => readings.map((each) => each.reading);
  return { scripted, clock, readings, numbers, notices, troubles, losses, board, end };
}

async function collecting(scripted = new ScriptedBoard()) {
  const parts = await linked(scripted);
  await parts.clock.until(parts.board.mode('collect'));
  return parts;
}

/** Loses the next lines from the board that `which` picks, up to `count` of them. */
function lose(scripted: ScriptedBoard, which: RegExp, count = 1): void {
  scripted.hurt = (direction, bytes) => {
    const text = new TextDecoder().decode(bytes);
    return direction === 'from_board' && which.test(text) && count-- > 0 ? new Uint8Array() : bytes;
  };
}

describe('linking', () => {
  test('gives the board’s identity as it said it', async () => {
    const { board } = await linked();
    expect(board.identity).toEqual(IDENTITY);
  });

  test('that a dropped link cuts short after hello rejects, and calls nobody’s onLost', async () => {
    const scripted = new ScriptedBoard();
    scripted.answers['memory'] = () => {
      scripted.link.drop('unplugged');
      return 'busy';
    };
    const clock = new VirtualClock();
    const losses: ProtocolError[] = [];
    const work = linkBoard(scripted.link, {
      clock,
      random: () => 0,
      onReading: () => {},
      onLost: (error) => losses.push(error),
    });
    expect(await clock.until(work.catch((e: ProtocolError) => e))).toMatchObject({
      fault: { cause: 'link_closed', reason: 'unplugged' },
    });
    await clock.run(10);
    expect(losses).toEqual([]);
  });

  test('that fails after hello closes the link, and calls nobody’s onLost', async () => {
    const scripted = new ScriptedBoard();
    scripted.answers['memory'] = () => 'busy';
    const clock = new VirtualClock();
    const losses: ProtocolError[] = [];
    const work = linkBoard(scripted.link, {
      clock,
      random: () => 0,
      onReading: () => {},
      onLost: (error) => losses.push(error),
    });
    const error = await clock.until(work.catch((e: ProtocolError) => e));
    expect(error).toMatchObject({ fault: { cause: 'refused', refusal: { code: 'busy' } } });
    expect(scripted.link.closings).toBe(1);
    expect(losses).toEqual([]);
  });
});

describe('a capture', () => {
  test('has passed its reading on before it resolves with the number', async () => {
    const { board, clock, readings } = await collecting();
    let atResolution = 0;
    const number = await clock.until(
      board.capture().then((n) => {
        atResolution = readings.length;
        return n;
      }),
    );
    expect(number).toBe(1);
    expect(atResolution).toBe(1);
    expect(readings).toEqual([reading(1)]);
  });

  test('whose answer is lost takes one reading, not two', async () => {
    const { board, scripted, end, numbers } = await collecting();
    lose(scripted, /^=/);
    expect(await end(board.capture())).toBe(1);
    expect(scripted.taken).toEqual([1]);
    expect(numbers()).toEqual([1]);
  });

  test('whose event is lost gets it again', async () => {
    const { board, scripted, end, numbers } = await collecting();
    lose(scripted, /^!/);
    expect(await end(board.capture())).toBe(1);
    expect(numbers()).toEqual([1]);
    expect(scripted.link.heard.at(-1)).toContain(' again from=1');
  });

  test('whose event is gone from the board takes the reading from its memory', async () => {
    const { board, scripted, end, numbers, troubles } = await collecting();
    scripted.keptEvents = 0;
    lose(scripted, /^!/);
    expect(await end(board.capture())).toBe(1);
    expect(numbers()).toEqual([1]);
    expect(troubles).toEqual([]);
  });

  test('whose reading is nowhere to be had says so', async () => {
    const { board, scripted, end, numbers } = await collecting();
    scripted.keptEvents = 0;
    scripted.forgotten.add(1);
    lose(scripted, /^!/);
    expect(await end(board.capture())).toMatchObject({
      fault: { cause: 'reading_lost', reading: 1 },
    });
    expect(numbers()).toEqual([]);
  });

  test('whose reading makes no sense says so, and passes no reading on', async () => {
    const { board, scripted, end, numbers } = await collecting();
    scripted.eventOf = (number) => ({
      ...EVENTS.reading.write(reading(number)),
      acc: ['0', '0', 'NaN'],
    });
    scripted.forgotten.add(1);
    expect(await end(board.capture())).toMatchObject({
      fault: { cause: 'nonsense', field: 'acc' },
    });
    expect(numbers()).toEqual([]);
  });

  test('that was cancelled still passes its reading on when it comes', async () => {
    const { board, clock, scripted, end, numbers } = await collecting();
    const stop = new AbortController();
    lose(scripted, /^[!=]/, 2);
    const capture = board.capture(stop.signal);
    const ended = end(capture);
    stop.abort();
    expect(await ended).toMatchObject({ cause: 'cancelled' });
    await clock.until(board.catchUp());
    expect(numbers()).toEqual(scripted.taken);
  });

  test('the board refuses comes as its code, and no reading was taken', async () => {
    const { board, end, scripted } = await linked();
    expect(await end(board.capture())).toMatchObject({
      fault: { cause: 'refused', refusal: { code: 'wrong_mode' } },
    });
    expect(scripted.taken).toEqual([]);
  });
});

describe('readings by the trigger', () => {
  test('reach onReading in order and once, lost ones from the board’s memory', async () => {
    const scripted = new ScriptedBoard();
    scripted.keptEvents = 2;
    const { board, clock, numbers, troubles } = await collecting(scripted);
    scripted.press();
    lose(scripted, /^!/, 6);
    for (let press = 0; press < 6; press++) scripted.press();
    scripted.press();
    await clock.until(board.mode('idle'));
    expect(numbers()).toEqual([1, 2, 3, 4, 5, 6, 7, 8]);
    expect(troubles).toEqual([]);
  });

  test('that were lost and are no longer in memory are reported', async () => {
    const scripted = new ScriptedBoard();
    scripted.keptEvents = 1;
    scripted.forgotten.add(2);
    const { board, clock, numbers, troubles } = await collecting(scripted);
    scripted.press();
    lose(scripted, /^!/, 2);
    scripted.press();
    scripted.press();
    scripted.press();
    await clock.until(board.mode('idle'));
    expect(numbers()).toEqual([1, 3, 4]);
    expect(troubles).toMatchObject([{ cause: 'events_lost' }]);
  });

  test('that were lost while the memory could not be asked are fetched by catching up, though later ones came', async () => {
    const scripted = new ScriptedBoard();
    scripted.keptEvents = 1;
    const { board, clock, end, numbers, troubles } = await collecting(scripted);
    scripted.press();
    lose(scripted, /^!/, 2);
    scripted.press();
    scripted.press();
    lose(scripted, / first=/, 6); // whatever the memory answers
    scripted.press();
    expect(await end(board.catchUp())).toMatchObject({ fault: { cause: 'no_answer' } });
    expect(numbers()).toEqual([1, 4]);
    expect(troubles).toMatchObject([{ cause: 'events_lost' }]);
    scripted.hurt = (_, bytes) => bytes;
    await clock.until(board.catchUp());
    expect(numbers()).toEqual([1, 4, 2, 3]);
  });

  test('lost at the very end are there when the mode is idle', async () => {
    const { board, clock, scripted, numbers } = await collecting();
    lose(scripted, /^!/);
    scripted.press();
    await clock.until(board.mode('idle'));
    expect(numbers()).toEqual([1]);
  });

  test('that come before the link is lost are passed on before onLost', async () => {
    const { clock, scripted, readings, losses } = await collecting();
    scripted.press();
    scripted.link.drop('out of reach');
    await clock.run(10);
    expect(readings.length).toBe(1);
    expect(losses).toMatchObject([{ fault: { cause: 'link_closed', reason: 'out of reach' } }]);
  });

  test('with a number that was given before are nonsense', async () => {
    const { clock, scripted, numbers, troubles } = await collecting();
    scripted.press();
    scripted.eventOf = () => EVENTS.reading.write(reading(1));
    scripted.press();
    await clock.run(10);
    expect(numbers()).toEqual([1]);
    expect(troubles).toMatchObject([{ fault: { cause: 'nonsense', field: 'reading' } }]);
  });
});

describe('after a broken link', () => {
  test('every reading not yet seen is recalled in order, and none of those seen', async () => {
    const scripted = new ScriptedBoard();
    const first = await collecting(scripted);
    for (let press = 0; press < 5; press++) scripted.press();
    scripted.link.drop('reset');
    const { board, clock } = await linked(scripted);
    const seen: number[] = [];
    const all = async () => {
      for await (const { reading: number } of readAllFrom(board, 2)) seen.push(number);
    };
    await clock.until(all());
    expect(seen).toEqual([3, 4, 5]);
    expect(first.losses.length).toBe(1);
  });

  test('a reading the board no longer holds is passed over, and an empty memory gives none', async () => {
    const scripted = new ScriptedBoard();
    const { board, clock } = await linked(scripted);
    const all = async () => {
      const seen: number[] = [];
      for await (const { reading: number } of readAllFrom(board, 0)) seen.push(number);
      return seen;
    };
    expect(await clock.until(all())).toEqual([]);
    scripted.press();
    scripted.press();
    scripted.forgotten.add(1);
    expect(await clock.until(all())).toEqual([2]);
  });
});

describe('coefficients', () => {
  test('are staged, checked, and compared by their CRC', async () => {
    const scripted = new ScriptedBoard();
    scripted.answers['stage'] = (fields) => ({ crc: setCrc(VERBS.stage.request.read(fields)) });
    scripted.answers['check'] = (fields) => ({ ...fields });
    const { board, end } = await linked(scripted);
    expect(await end(board.stage(SET))).toBe(CRC);
    expect(scripted.link.heard.at(-1)).toContain(` check crc=${CRC}`);
  });

  test.each(['stage', 'check'])('held otherwise than sent, by %s, are not sealed', async (verb) => {
    const scripted = new ScriptedBoard();
    scripted.answers['stage'] = scripted.answers['check'] = () => ({ crc: CRC });
    scripted.answers[verb] = () => ({ crc: '00000001' });
    const { board, end } = await linked(scripted);
    expect(await end(board.stage(SET))).toMatchObject({
      fault: { cause: 'staged_differs', wanted: CRC, held: '00000001' },
    });
  });

  test('the board does not hold are undefined, not an error', async () => {
    const scripted = new ScriptedBoard();
    scripted.answers['coefficients'] = () => 'no_such_set';
    const { board, end } = await linked(scripted);
    expect(await end(board.coefficients('in_force'))).toBeUndefined();
  });

  test('in force without a generation, or staged with one, are nonsense', async () => {
    const scripted = new ScriptedBoard();
    let generation = 0;
    scripted.answers['coefficients'] = () =>
      VERBS.coefficients.answer.write({ ...SET, generation, crc: CRC });
    const { board, end } = await linked(scripted);
    const nonsense = { fault: { cause: 'nonsense', field: 'generation' } };
    expect(await end(board.coefficients('in_force'))).toMatchObject(nonsense);
    generation = 3;
    expect(await end(board.coefficients('staged'))).toMatchObject(nonsense);
    expect(await end(board.coefficients('in_force'))).toMatchObject({ generation: 3, crc: CRC });
  });

  test('sealed as any generation but the next are nonsense', async () => {
    const scripted = new ScriptedBoard();
    scripted.answers['seal'] = () => ({ generation: 9 });
    const { board, end } = await linked(scripted);
    expect(await end(board.seal(3, CRC))).toMatchObject({
      fault: { cause: 'nonsense', field: 'generation' },
    });
  });

  test('a seal that goes unanswered tells that it may have happened', async () => {
    const scripted = new ScriptedBoard();
    const { board, end } = await linked(scripted);
    lose(scripted, /^=/, 99);
    expect(await end(board.seal(3, CRC))).toMatchObject({
      fault: { cause: 'no_answer', verb: 'seal', may: 'have_happened' },
    });
  });

  test.each([
    [undefined, 0, 'unchanged'],
    [{ generation: 3 }, 3, 'unchanged'],
    [{ generation: 4, crc: CRC }, 3, 'sealed'],
    [{ generation: 4, crc: '00000001' }, 3, 'other'],
    [{ generation: 5, crc: CRC }, 3, 'other'],
    [undefined, 3, 'other'],
  ] as const)(
    'with %o in force, a seal that replaces %i came to: %s',
    async (set, replaces, want) => {
      const inForce = set && ({ ...SET, crc: CRC, ...set } as StoredSet);
      const board: Pick<Board, 'coefficients'> = { coefficients: () => Promise.resolve(inForce) };
      expect(await sealOutcome(board, replaces, CRC)).toBe(want);
    },
  );
});

test('an answer about another reading, or another mode, than asked for is nonsense', async () => {
  const scripted = new ScriptedBoard();
  scripted.answers['recall'] = () => VERBS.recall.answer.write(reading(7));
  scripted.answers['mode'] = () => ({ mode: 'idle' });
  const { board, end } = await linked(scripted);
  expect(await end(board.recall(6))).toMatchObject({ fault: { field: 'reading' } });
  expect(await end(board.mode('collect'))).toMatchObject({ fault: { field: 'mode' } });
});

test('closing tells nobody that the link was lost', async () => {
  const { board, losses, end } = await collecting();
  await board.close();
  expect(losses).toEqual([]);
  expect(await end(board.memory())).toMatchObject({ cause: 'link_closed' });
});
