import { beforeAll, expect, it, vi } from 'vitest';
import { writeShots } from '../../../src/records/course-csv.ts';
import { checkNote } from '../../../src/records/note-schemas.ts';
import { CourseDesk } from '../../../src/steps/course/course-desk.ts';
import { MADE_UP_COURSE, MADE_UP_TERMS } from '../../../src/steps/course/simulated-course.ts';
import { BenchInProcess } from '../bench-in-process.ts';

/** A check course at a bench: simulated boards, their hands, and the real logbook. */

const FEW = { ...MADE_UP_COURSE, each: 1 };
const bytes = (text: string) => new TextEncoder().encode(text);

let sealed: BenchInProcess;
beforeAll(async () => {
  sealed = await BenchInProcess.opened();
  await sealed.ask('link', 'begin', 'take rest', 'fit', 'write', 'prove', 'end');
}, 60_000);

/** A bench whose board runs sealed coefficients, and the desk of a course that is laid out there. */
async function onCourse() {
  const on = await sealed.copy();
  await on.reload();
  await on.ask('link');
  const desk = new CourseDesk(on.bench);
  await on.run(on.bench.logbook.open());
  const paper = (await on.run(desk.layOut(FEW, MADE_UP_TERMS)))!;
  await on.run(desk.open(paper));
  await on.run(desk.beginOuting('2031-05-01'));
  return { on, desk, paper, board: on.place.serial! };
}

it('a linked board shoots: each reading becomes a shot of the next place, through the coefficients in force, the board’s own angles beside', async () => {
  const { on, desk, board } = await onCourse();
  await on.run(desk.chooseNext());
  expect(desk.nextPlace).toMatchObject({ at: 'A', aimed: 'B' });
  await on.run(desk.shoot('next'));
  const [shot] = desk.outing!.shots;
  expect(shot).toMatchObject({ instrument: { board }, leg: { from: 'A', to: 'B' }, way: 'fore' });
  expect(shot!.source).toMatchObject({ from: 'link', generation: 1 });
  if (!('reading' in shot!.source)) throw new Error('it came from a board');
  // the board computes what we do, from the same counts and the same binary32 coefficients
  expect(shot.azimuth).toBeCloseTo(shot.source.reading.azimuth!, 1);
  expect(shot.source.reading.reading).toBeGreaterThan(0);
  expect(desk.nextPlace).toMatchObject({ at: 'B', aimed: 'A' });

  // its trigger does as well, and what a person chose comes first
  desk.choosePlace({ leg: { from: 'C', to: 'D' }, way: 'fore', at: 'C', aimed: 'D' });
  on.board.press();
  await on.pass(3000);
  expect(desk.outing!.shots[1]).toMatchObject({ leg: { from: 'C', to: 'D' }, way: 'fore' });
  expect(desk.nextPlace).toMatchObject({ at: 'B', aimed: 'A' });

  await on.run(desk.shoot('rest'));
  expect(desk.outing!.shots).toHaveLength(12);
  expect(desk.nextPlace).toBeUndefined();
  // where iron stands the hand was turned, and the shot says so
  const turned = desk.outing!.shots.filter(({ source }) => 'turned' in source);
  expect(turned.every(({ leg, way }) => (way === 'fore' ? leg.from : leg.to) === 'C')).toBe(true);
  expect(turned.length).toBeGreaterThan(0);
  // one reading too many is no shot of anything
  on.board.press();
  await on.pass(3000);
  expect(desk.outing!.shots).toHaveLength(12);

  await on.run(desk.settle());
  expect(desk.state.trouble).toBeUndefined();
  expect(desk.outing!.settled!.result.instruments[0]).toMatchObject({ shots: 12 });
  // every note is fit to be brought in elsewhere
  const { paper } = desk.state.opened!;
  for (const note of await on.records.notesOf(paper)) {
    expect(checkNote(JSON.parse(JSON.stringify(note)))).toEqual({ ok: true, note });
  }

  await on.reload();
  const again = new CourseDesk(on.bench);
  await on.run(again.open(paper));
  expect(again.outing!.settled).toBeDefined();
  expect(again.state.courses).toMatchObject([{ paper, name: FEW.name }]);
});

it('readings taken with nobody looking come from the board’s memory, each once, and what is doubtful is asked', async () => {
  const { on, desk, board, paper } = await onCourse();
  await on.run(on.place.withBoard({ what: '', stoppable: false }, (at) => at.mode('collect')));
  for (const [azimuth, inclination] of [
    [135, 6],
    [315, -6],
    [225, -6],
  ] as const) {
    await on.run(on.board.hold({ azimuth, inclination, roll: 0 }));
    on.board.press();
    await on.pass(3000);
  }
  expect(desk.outing!.shots).toEqual([]);
  await on.reload();
  await on.ask('link'); // its memory is saved
  const again = new CourseDesk(on.bench);
  await on.run(again.open(paper));
  const proposed = (await on.run(again.proposeFromMemory(board, 'order')))!;
  expect(proposed.map(({ place }) => `${place?.at}${place?.aimed}`)).toEqual(['AB', 'BA', 'BC']);
  const near = (await on.run(again.proposeFromMemory(board, 'nearness')))!;
  expect(near.every(({ doubt }) => doubt !== undefined)).toBe(true); // no shot has shown where the legs point
  await on.run(
    again.addFromMemory(
      board,
      proposed.map((proposal) => ({ proposal, place: proposal.place! })),
    ),
  );
  expect(again.outing!.shots.map(({ azimuth }) => Math.round(azimuth! / 45) * 45)).toEqual([
    135, 315, 225,
  ]);
  expect(await on.run(again.proposeFromMemory(board, 'order'))).toEqual([]);
});

it('a file of shots is added whole or not at all, and adds nothing twice', async () => {
  const { on, desk, board } = await onCourse();
  const row = { instrument: board, from: 'A', to: 'B', azimuth: 134.5, inclination: 6 };
  const other = { ...row, instrument: 'an old one', from: 'B', to: 'A', azimuth: 315 };
  await on.run(desk.addFromFile('bad.csv', bytes(writeShots([row, { ...other, to: 'X' }]))));
  expect(desk.state.trouble).toContain('bad.csv: line 3');
  expect(desk.outing!.shots).toEqual([]);
  const good = bytes(writeShots([row, { ...other, setAside: 'wind' }]));
  await on.run(desk.addFromFile('good.csv', good));
  expect(desk.outing!.shots).toMatchObject([
    { instrument: { board }, way: 'fore' },
    { instrument: { name: 'an old one' }, way: 'back', setAside: 'wind' },
  ]);
  await on.run(desk.addFromFile('good.csv', good));
  expect(desk.outing!.shots).toHaveLength(2);
  expect(desk.state.said).toContain('0 shots were added. 2 were here already.');
  expect(desk.shotsFile(desk.outing!)!.content).toContain(`${board},A,B,134.5,6,,`);
});

it('shots of another file count though they show the same, unless all of it is here already', async () => {
  const { on, desk } = await onCourse();
  const row = { instrument: 'an old one', from: 'A', to: 'B', azimuth: 134, inclination: 6 };
  const bring = (name: string, ...azimuths: number[]) =>
    on.run(
      desk.addFromFile(name, bytes(writeShots(azimuths.map((azimuth) => ({ ...row, azimuth }))))),
    );
  await bring('morning.csv', 134, 134, 135);
  // twice the same in one file are two shots
  expect(desk.outing!.shots).toHaveLength(3);
  await bring('afternoon.csv', 134, 135, 136);
  expect(desk.outing!.shots).toHaveLength(6);
  expect(desk.state.said).toContain('3 shots were added. 2 of them show just what shots');
  await bring('afternoon.csv', 134, 135, 136, 137);
  expect(desk.state.said).toBe('One shot was added. 3 were here already.');
  // the same file under another name, and what the course itself gave out
  await bring('morning (1).csv', 134, 134, 135);
  expect(desk.state.said).toContain('0 shots were added. 3 were here already. If they were shot');
  await on.run(desk.addFromFile('out.csv', bytes(desk.shotsFile(desk.outing!)!.content as string)));
  expect(desk.outing!.shots).toHaveLength(7);
  const timed = { ...row, taken: '2031-05-01T09:30:00.000Z' };
  await on.run(desk.addFromFile('one.csv', bytes(writeShots([timed]))));
  await on.run(desk.addFromFile('two.csv', bytes(writeShots([timed, { ...row, azimuth: 99 }]))));
  expect(desk.state.said).toBe('One shot was added. 1 was here already.');
});

it('a file with a column that is not known is told so', async () => {
  const { on, desk } = await onCourse();
  const file = 'instrument,from,to,azimuth,inclination,when\nx,A,B,134,6,noon\n';
  await on.run(desk.addFromFile('shots.csv', bytes(file)));
  expect(desk.state.said).toContain('The column “when” is not known here');
});

it('a shot typed by hand has the time that a person gives, and none where nobody does', async () => {
  const { on, desk } = await onCourse();
  const instrument = { name: 'an old one' };
  const place = { leg: { from: 'A', to: 'B' }, way: 'fore' as const, at: 'A', aimed: 'B' };
  await on.run(desk.addByHand({ instrument, place, azimuth: 134 }));
  const taken = '2031-05-01T09:30:00.000Z';
  await on.run(desk.addByHand({ instrument, place, azimuth: 135, taken }));
  const [untimed, timed] = desk.outing!.shots;
  expect(untimed).not.toHaveProperty('taken');
  expect(timed).toMatchObject({ azimuth: 135, taken });
});

it('goes to another bench as a file, with the board that shot it, and brought in twice adds nothing twice', async () => {
  const { on, desk, paper, board } = await onCourse();
  await on.run(desk.chooseNext());
  await on.run(desk.shoot('next'));
  const file = (await on.run(desk.takeOut()))!;
  const other = await BenchInProcess.opened();
  await other.run(other.bench.exchange.bringIn(file.content));
  await other.run(other.bench.exchange.bringIn(file.content));
  expect(other.bench.exchange.state.trouble).toBeUndefined();
  expect(await other.records.notesOf(paper)).toEqual(await on.records.notesOf(paper));
  expect(await other.records.boards()).toEqual([board]);
  const there = new CourseDesk(other.bench);
  await other.run(there.open(paper));
  expect(there.course).toEqual(desk.course);
});

it('simulated boards are linked and calibrated until there are enough, and shoot the course at once', async () => {
  const { on, desk } = await onCourse();
  await on.run(desk.makeReady(2));
  expect(desk.state.trouble).toBeUndefined();
  expect(desk.boards).toHaveLength(2);
  await on.run(desk.shootAll());
  expect(desk.outing!.shots).toHaveLength(24);
  await on.run(desk.settle());
  expect(desk.outing!.settled!.result.instruments).toHaveLength(2);
}, 60_000);

it('goes on with the next thing after a fault of the program, which whoever asked hears of', async () => {
  const { on, desk } = await onCourse();
  const write = vi.spyOn(on.bench.papers, 'write');
  write.mockRejectedValueOnce(new TypeError('a fault of the program'));
  await expect(on.run(desk.beginOuting('2031-05-02'))).rejects.toThrow('a fault of the program');
  write.mockRestore();
  expect(desk.state.work).toBeUndefined();
  await on.run(desk.beginOuting('2031-05-03'));
  expect(desk.outing!.day).toBe('2031-05-03');
});
