import { beforeAll, describe, expect, it } from 'vitest';
import { readLogbookFile } from '../../../src/records/logbook-file-reader.ts';
import { degreesText } from '../../../src/steps/finding.ts';
import { judgementOf } from '../../../src/steps/judgement.ts';
import { WorkshopDesk, type KitRow } from '../../../src/steps/workshop/workshop-desk.ts';
import { BenchInProcess } from '../bench-in-process.ts';

const TERMS = {
  name: 'Spring workshop',
  place: 'The shed',
  day: '2031-05-01',
  tolerance: { degrees: 1, grade: '5' as const },
};

/** The desk with somebody who looks, as a page does. */
function deskOf(on: BenchInProcess): WorkshopDesk {
  const desk = new WorkshopDesk(on.bench);
  desk.subscribe(() => {});
  return desk;
}

const kits = (desk: WorkshopDesk): readonly KitRow[] => desk.state.opened!.now!.kits;

/** Waits for what the desk reads by itself. */
async function until(isSo: () => boolean): Promise<void> {
  for (let turn = 0; turn < 200 && !isSo(); turn++) await new Promise((done) => setTimeout(done));
  expect(isSo()).toBe(true);
}

const hasBench = (body: unknown): body is { bench: string } =>
  typeof body === 'object' && body !== null && 'bench' in body;

/** A desk with a new workshop open. */
async function withWorkshop(on: BenchInProcess): Promise<WorkshopDesk> {
  const desk = deskOf(on);
  const paper = await desk.begin(TERMS);
  await desk.open(paper!);
  return desk;
}

describe('through a whole calibration', () => {
  let on: BenchInProcess;
  let desk: WorkshopDesk;
  let serial: string;
  /** The words of each stage, as the work went. */
  const stages: string[] = [];

  beforeAll(async () => {
    on = await BenchInProcess.opened();
    desk = await withWorkshop(on);
    await desk.addKits([{ builder: 'Ann', place: '1' }, { serial: 'WB-77', builder: 'Ben' }]);
    await on.ask('link');
    serial = on.state.history.identity!.serial;
    expect(desk.state.strangers).toMatchObject([{ serial }]);
    expect(await desk.giveBoard(kits(desk)[0]!.kit, serial)).toBe(true);
    expect(desk.state.strangers).toEqual([]);
    const say = () => stages.push(kits(desk)[0]!.stage.words);
    say();
    for (const intention of ['begin', 'take sighting', 'take rest', 'fit', 'write', 'prove'] as const) {
      await on.ask(intention);
      say();
    }
  }, 60_000); // prettier-ignore

  it('tells each stage in words, while the board of the other kit was never seen', () => {
    expect(stages).toEqual([
      'linked',
      'readings 0 of 56',
      'readings 4 of 56',
      'readings 56 of 56',
      'judged: good enough',
      'written, not proven yet',
      'proven',
    ]);
    expect(kits(desk)).toMatchObject([
      { builder: 'Ann', place: '1', serial, whereabouts: 'linked', shape: 'good' },
      { builder: 'Ben', serial: 'WB-77', whereabouts: 'not seen', stage: { step: 0 } },
    ]);
    expect(desk.state.opened!.now!.counts).toEqual({
      kits: 2,
      linked: 1,
      written: 1,
      proven: 1,
      trouble: 0,
    });
  });

  it('tells nobody of what changes at the bench and nothing of the workshop', () => {
    let told = 0;
    const end = desk.subscribe(() => told++);
    const before = desk.state;
    on.bench.pick(on.place);
    end();
    expect(told).toBe(0);
    expect(desk.state).toBe(before);
  });

  it('gives the figures that the bench itself shows', () => {
    const { result } = kits(desk)[0]!;
    const { history } = on.state;
    expect(result).toMatchObject({
      generation: history.inForce!.generation,
      crc: history.inForce!.crc,
      proof: { passed: true, readings: 12 },
      tolerance: TERMS.tolerance,
    });
    const { findings, standing } = judgementOf(history)!;
    expect(result!.judged).toBe(standing);
    const figure = (name: string) => findings.find((each) => each.name === name)!.figure;
    expect(`±\u00a0${degreesText(result!.azimuth)}`).toBe(figure('Azimuth × cos inclination'));
    expect(`±\u00a0${degreesText(result!.inclination)}`).toBe(figure('Inclination'));
    expect(degreesText(result!.meanSpread!)).toBe(figure('Mean spread'));
    expect(result!.readings).toBe(history.calibration!.fit!.readings.filter(({ used }) => used).length); // prettier-ignore
  });

  it('writes the results as CSV, a row for each kit', () => {
    const { content, name } = desk.takeOutResults()!;
    expect(name).toMatch(/^results Spring workshop 2031-05-01\.csv$/);
    const lines = content.trimEnd().split('\n');
    expect(lines).toHaveLength(3);
    expect(lines[1]).toMatch(new RegExp(`^1,Ann,${serial},[^,]*,proven,,,1,2031-`));
    expect(lines[2]).toMatch(/^,Ben,WB-77,,not linked yet,/);
  });

  it('gives another computer the roster with stages and results, and adds nothing when brought in twice', async () => {
    const { content } = (await desk.takeOut())!;
    const other = await BenchInProcess.opened();
    const there = deskOf(other);
    await there.bringIn(content);
    expect(there.state.trouble).toBeUndefined();
    expect(there.state.said).toContain('Brought in');
    const { paper } = desk.state.opened!;
    expect(there.state.workshops).toMatchObject([{ paper, name: TERMS.name }]);
    await there.open(paper);
    const here = kits(desk)[0]!;
    expect(kits(there)).toMatchObject([
      { builder: 'Ann', whereabouts: 'elsewhere', stage: { name: 'proven' }, result: here.result },
      { builder: 'Ben', whereabouts: 'not seen' },
    ]);
    expect(kits(there)[0]!.asOf).toMatch(/^2031-/);
    await there.bringIn(content);
    expect(there.state.said).toContain('was here already');
    // nothing new to say of how boards stand, so the same is taken out again
    const notes = async (file: Blob) => {
      const read = await readLogbookFile(new Uint8Array(await file.arrayBuffer()));
      return read.ok && read.notes;
    };
    const written = await notes(content);
    expect(await notes((await desk.takeOut())!.content)).toEqual(written);
    // and which computer saw them so, that it is no news to it
    const seen = (written || []).flatMap(({ body }) => (hasBench(body) ? [body.bench] : []));
    expect(seen).toEqual([on.bench.papers.bench]);
  });

  it('keeps the place and the stage of a board that drops out, with the time, also when the page is opened anew, and goes on as it returns', async () => {
    on.isReachable = false;
    on.board.dropAfter(0);
    await on.pass(10_000);
    expect(on.state.link.state).toBe('lost');
    await until(() => kits(desk)[0]!.asOf !== undefined);
    const dropped = {
      builder: 'Ann',
      whereabouts: 'dropped out',
      stage: { name: 'proven' },
      trouble: 'The link was lost',
      shape: 'bad',
    };
    expect(kits(desk)).toMatchObject([dropped, { builder: 'Ben' }]);
    const { paper } = desk.state.opened!;
    await on.reload();
    const anew = deskOf(on);
    await anew.open(paper);
    await until(() => kits(anew)[0]!.asOf !== undefined);
    expect(kits(anew)).toMatchObject([
      { builder: 'Ann', stage: { name: 'proven' }, result: { generation: 1 } },
      { builder: 'Ben' },
    ]);
    on.isReachable = true;
    await on.ask('link');
    expect(kits(anew)).toMatchObject([{ builder: 'Ann', whereabouts: 'linked' }, {}]);
    expect(kits(anew)[0]).not.toHaveProperty('trouble');
  });
});

describe('on a bench with no board', () => {
  it('adds kits from a pasted list, all or none, and names what is wrong by its line', async () => {
    const desk = await withWorkshop(await BenchInProcess.opened());
    expect(await desk.addPasted('serial, builder, place\nB1, Ann, 1\n\n, Ben\r\nB3')).toBe(true);
    expect(kits(desk).map(({ serial, builder, place }) => [serial, builder, place])).toEqual([
      ['B1', 'Ann', '1'],
      ['', 'Ben', ''],
      ['B3', '', ''],
    ]);
    expect(await desk.addPasted('B4\tCem, and Dora\t2')).toBe(true);
    expect(kits(desk)[3]).toMatchObject({ builder: 'Cem, and Dora', place: '2' });
    expect(await desk.addPasted('B5, "Smith, Ida", 5\n"B,6"\t"Ed ""Spark"" Moe"\n#9;Eli')).toBe(
      true,
    );
    expect(kits(desk).slice(4).map(({ serial, builder, place }) => [serial, builder, place])).toEqual([
      ['B5', 'Smith, Ida', '5'],
      ['B,6', 'Ed "Spark" Moe', ''],
      ['#9', 'Eli', ''],
    ]); // prettier-ignore
    expect(await desk.addPasted('Builder,Serial,Place\nIda,SIM-77,3')).toBe(true);
    expect(kits(desk)[7]).toMatchObject({ serial: 'SIM-77', builder: 'Ida', place: '3' });
    const count = kits(desk).length;
    expect(await desk.addPasted('sim-77')).toBe(false);
    expect(desk.state.trouble!.problems[0]!.what).toMatch(/SIM-77 already; sim-77 differs .* only/);
    for (const wrong of ['serial, builder, colour\nB9, Ed, red', 'place, place\n1, 2', 'B9, "Ed', 'serial\nB9, Ed']) {
      expect(await desk.addPasted(wrong)).toBe(false);
      expect(desk.state.trouble!.problems[0]!.path).toMatch(/^line [12]$/);
    } // prettier-ignore
    expect(kits(desk)).toHaveLength(count);
    expect(await desk.addPasted('B5, Eli, 3, 4\nB6')).toBe(false);
    expect(desk.state.trouble).toMatchObject({ problems: [{ path: 'line 1' }], others: 0 });
    expect(await desk.addPasted('B7\nB1')).toBe(false);
    expect(desk.state.trouble!.problems[0]!.what).toContain('B1');
    expect(await desk.addPasted(' \n')).toBe(false);
    expect(kits(desk)).toHaveLength(count);
    expect(await desk.addKits([{ builder: 'x'.repeat(201) }])).toBe(false);
    expect(await desk.addKits([{ serial: 'B8' }])).toBe(true);
    expect(desk.state.trouble).toBeUndefined();
  });

  it('shows what both of two computers changed, whichever file is brought in first, though one clock is an hour behind', async () => {
    const [one, two] = [await BenchInProcess.opened(), await BenchInProcess.opened()];
    await one.clock.run(3_600_000);
    const here = await withWorkshop(one);
    const { paper } = here.state.opened!;
    await here.addKits([{ serial: 'B1', builder: 'A.' }, { serial: 'B2' }]);
    const there = deskOf(two);
    await there.bringIn((await here.takeOut())!.content);
    await there.open(paper);
    const kit = kits(here)[0]!.kit;
    await here.changeKit(kit, { builder: 'Ann' });
    await here.remark('A cold joint', kit);
    await there.changeKit(kit, { builder: 'Anna', place: '7' });
    await there.addKits([{ serial: 'B3' }]);
    await here.addKits([{ serial: 'B3', builder: 'Cem' }]);
    const [fromHere, fromThere] = [(await here.takeOut())!, (await there.takeOut())!];
    await here.bringIn(fromThere.content);
    await there.bringIn(fromHere.content);
    await there.bringIn(fromThere.content);
    expect(kits(here)).toEqual(kits(there));
    const [first, , third] = kits(here);
    expect(kits(here)).toHaveLength(3);
    expect(first).toMatchObject({ place: '7', remarks: [{ text: 'A cold joint' }] });
    expect([first!.builder, ...first!.overruled.map(({ value }) => value)].sort()).toEqual(['Ann', 'Anna']); // prettier-ignore
    expect(third).toMatchObject({ serial: 'B3', builder: 'Cem' });
    expect(third!.alias).toHaveLength(1);
    // settled at the computer whose clock is behind, it is settled
    await there.changeKit(kit, { builder: 'Ann B.' });
    await here.bringIn((await there.takeOut())!.content);
    expect(kits(here)[0]).toMatchObject({ builder: 'Ann B.', overruled: [] });
  });

  it('takes a kit off and puts it back, unless another has its serial number by then', async () => {
    const desk = await withWorkshop(await BenchInProcess.opened());
    await desk.addPasted('B1, Ann\nB2, Ben');
    const [first] = kits(desk);
    await desk.takeOff(first!.kit);
    expect(desk.state.opened!.now!.takenOff).toMatchObject([{ builder: 'Ann' }]);
    await desk.addKits([{ serial: 'B1', builder: 'Cem' }]);
    expect(await desk.putBack(first!.kit)).toBe(false);
    expect(desk.state.trouble!.problems[0]!.what).toContain('B1');
    await desk.takeOff(kits(desk)[1]!.kit);
    expect(await desk.putBack(first!.kit)).toBe(true);
    expect(kits(desk).map(({ builder }) => builder)).toEqual(['Ann', 'Ben']);
    expect(await desk.giveBoard(kits(desk)[1]!.kit, 'B1')).toBe(false);
  });

  it('counts kits without a serial number too against the most that a workshop has', async () => {
    const desk = await withWorkshop(await BenchInProcess.opened());
    const some = Array.from({ length: 199 }, (_, i) => ({ place: `${i}` }));
    expect(await desk.addKits(some)).toBe(true);
    expect(await desk.addKits([{ place: 'a' }, { place: 'b' }])).toBe(false);
    expect(desk.state.trouble!.problems[0]!.what).toContain('200');
    expect(await desk.addKits([{ place: 'a' }])).toBe(true);
    expect(await desk.changeKit(kits(desk)[0]!.kit, { builder: 'Ann' })).toBe(true);
  });

  it('keeps a kit that two computers added one, whatever is changed of it and though it is taken off and put back', async () => {
    const [one, two] = [await BenchInProcess.opened(), await BenchInProcess.opened()];
    const here = await withWorkshop(one);
    const there = deskOf(two);
    await there.bringIn((await here.takeOut())!.content);
    await there.open(here.state.opened!.paper);
    await here.addKits([{ serial: 'B1', builder: 'Ann' }]);
    await there.addKits([{ serial: 'B1', place: '3' }]);
    await here.bringIn((await there.takeOut())!.content);
    const both = () => {
      const { kits, takenOff } = here.state.opened!.now!;
      return [...kits, ...takenOff].map(({ serial, builder, place }) => [serial, builder, place]);
    };
    const { kit, alias } = kits(here)[0]!;
    expect(alias).toHaveLength(1);
    await here.changeKit(kit, { serial: 'B2', place: '4' });
    expect(both()).toEqual([['B2', 'Ann', '4']]);
    await here.changeKit(kit, { builder: 'Ben' });
    expect(both()).toEqual([['B2', 'Ben', '4']]);
    await here.takeOff(kit);
    expect(kits(here)).toEqual([]);
    expect(both()).toEqual([['B2', 'Ben', '4']]);
    await here.putBack(kit);
    expect(kits(here)).toMatchObject([{ serial: 'B2', builder: 'Ben', place: '4', overruled: [] }]);
    expect(here.state.opened!.now!.takenOff).toEqual([]);
  });

  it('says that nothing was taken out or brought in while the logbook itself is at that, and nothing on later pages', async () => {
    const on = await BenchInProcess.opened();
    const desk = await withWorkshop(on);
    const free = await desk.takeOut();
    let release = () => {};
    const isReleased = new Promise<void>((done) => (release = done));
    const held = new Blob(['{}']);
    held.arrayBuffer = () => isReleased.then(() => new ArrayBuffer(0));
    const busy = on.bench.exchange.bringIn(held);
    expect(await desk.takeOut()).toBeUndefined();
    expect(desk.state.trouble).toMatchObject({ heading: 'Nothing was taken out' });
    expect(desk.state.work).toBeUndefined();
    await desk.bringIn(free!.content);
    expect(desk.state.trouble).toMatchObject({ heading: 'Nothing was brought in' });
    release();
    await busy;
    await desk.bringIn(free!.content);
    expect(desk.state.trouble).toBeUndefined();
    expect(desk.state.said).not.toBe('');
    await desk.open(desk.state.opened!.paper);
    expect(desk.state.said).toBe('');
    await desk.addKits([{}]);
    expect(desk.state.trouble).toBeDefined();
    await desk.open();
    expect(desk.state.trouble).toBeUndefined();
  });

  it('writes nothing where another page has the bench, and says so', async () => {
    const on = await BenchInProcess.opened();
    const desk = await withWorkshop(on);
    const other = await on.anotherPage({ isAlone: false });
    const there = deskOf(other);
    await there.open(desk.state.opened!.paper);
    expect(await there.addKits([{ serial: 'B1' }])).toBe(false);
    expect(there.state.trouble!.heading).toContain('Another page');
    expect(kits(there)).toEqual([]);
  });

  it('says of a workshop that is not there that it is read, and shows none', async () => {
    const desk = deskOf(await BenchInProcess.opened());
    await desk.open('f'.repeat(32));
    expect(desk.state.opened).toEqual({ paper: 'f'.repeat(32), isRead: true });
    expect(await desk.remark('x')).toBe(false);
    expect(desk.takeOutResults()).toBeUndefined();
  });
});
