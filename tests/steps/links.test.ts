import { describe, expect, it } from 'vitest';
import { LinkError, type ByteLink, type LinkKind } from '../../src/protocol/link.ts';
import { nextStep } from '../../src/steps/next-step.ts';
import { inProcessBoard } from '../../src/transport/in-process.ts';
import { defaultSettings } from '../../firmware-sim/settings.ts';
import { formatAnswer, parseLine } from '../../src/protocol/line.ts';
import { BenchInProcess } from './bench-in-process.ts';
import { asText } from './garbling.ts';

/** What becomes of a link: which it is, that the work is kept, and how the link comes back. */

const numbers = (on: BenchInProcess) =>
  on.calibration.readings.map(({ reading }) => reading.reading);

/** The board's next answer is that it knows of no conversation; after that it is itself again. */
function hasForgotten(on: BenchInProcess): (text: string) => string {
  return (text) => {
    const line = parseLine(text);
    if (typeof line === 'string' || line.kind !== 'answer') return text;
    on.garble = (each) => each;
    return asText(formatAnswer(line.tag, false, { code: 'no_hello' }));
  };
}

describe('a link that dropped', () => {
  it('comes back by itself, with nothing lost or doubled, and the board collects again', async () => {
    const on = await BenchInProcess.opened();
    await on.ask('link', 'begin', 'take sighting');
    on.board.dropAfter(300); // in the midst of a reading
    await on.ask('take rest');
    expect(on.state.link).toMatchObject({ state: 'lost', end: 'ended there', returns: true });
    expect(on.state.trouble?.heading).toBe('The link was lost');
    const before = on.calibration.readings.length;

    await on.pass(2000);
    expect(on.state.link.state).toBe('linked');
    expect(on.state.trouble).toBeUndefined();
    expect(on.state.said).toContain('It is linked again.');
    expect(on.calibration.readings.length).toBeGreaterThanOrEqual(before);
    await on.run(on.board.press()); // refused by a board that does not collect
    await on.pass(1000);
    await on.ask('take rest');
    expect(numbers(on)).toEqual(Array.from({ length: 56 }, (_, i) => i + 1));
  });

  it('is tried three times, and then waits for a person where the system says nothing', async () => {
    const on = await BenchInProcess.opened();
    await on.ask('link', 'begin', 'take one');
    on.isReachable = false;
    on.board.dropAfter(0);
    await on.pass(600); // 250, and not yet 250 + 500
    expect(on.openings).toBe(2);
    await on.pass(200);
    expect(on.openings).toBe(3);
    await on.pass(10_000);
    expect(on.openings).toBe(4);
    expect(on.state.link).toMatchObject({ state: 'lost', end: 'ended there' });
    expect(on.state.link.returns).toBeUndefined();
    expect(on.state.trouble?.heading).toBe('The link was lost');

    on.isReachable = true;
    await on.pass(60_000);
    expect(on.state.link.state).toBe('lost');
    expect(nextStep(on.state).main).toEqual({ label: 'Link again', does: 'link' });
    await on.ask('link', 'take one');
    expect(numbers(on)).toEqual([1, 2]);
  });

  it('comes back whenever the system says that the board is there', async () => {
    const on = await BenchInProcess.opened();
    on.saysReturn = true;
    await on.ask('link', 'begin', 'take one');
    on.isReachable = false;
    on.board.dropAfter(0);
    await on.pass(10_000);
    expect(on.state.link).toMatchObject({ state: 'lost', returns: true });
    expect(nextStep(on.state).words).toContain('linked again by itself');

    on.isReachable = true;
    on.returnLinks();
    on.returnLinks(); // some systems say it twice
    await on.pass(1000);
    expect(on.state.link.state).toBe('linked');
    await on.ask('take one');
    expect(numbers(on)).toEqual([1, 2]);
  });

  it('is not tried any more once a person stopped that', async () => {
    const on = await BenchInProcess.opened();
    await on.ask('link', 'begin', 'take one');
    on.board.quirk({ manners: { silent: true, lateMs: 0, twice: false } });
    on.board.dropAfter(0);
    await on.pass(500);
    expect(on.state.work).toEqual({ what: 'Linking again', stoppable: true });
    await on.place.perform('stop');
    await on.pass(20_000);
    expect(on.state.work).toBeUndefined();
    expect(on.openings).toBe(2);
    expect(on.state.link.state).toBe('lost');
  });

  it('is made again after the board started again, which the state says', async () => {
    const on = await BenchInProcess.opened();
    await on.ask('link', 'begin', 'take one');
    on.garble = hasForgotten(on); // a board behind an adapter starts again without the link noticing
    await on.ask('take one');
    expect(on.state.link).toMatchObject({ state: 'lost', end: 'started again' });
    await on.pass(3000);
    expect(on.state.link.state).toBe('linked');
    expect(on.state.said).toContain('The board started again');
    await on.ask('take one');
    expect(numbers(on)).toEqual([1, 2]);
  });
});

describe('a tab that was hidden', () => {
  it('leaves a lost link alone until it is seen again, and says when it was lost', async () => {
    const on = await BenchInProcess.opened();
    await on.ask('link', 'begin', 'take one');
    on.sight.hide();
    on.board.dropAfter(0);
    await on.pass(60_000);
    expect(on.openings).toBe(1);
    expect(on.state.link).toMatchObject({ state: 'lost', hidden: true, returns: true });
    expect(nextStep(on.state).words).toContain('while this tab was hidden');
    on.sight.show();
    await on.pass(1000);
    expect(on.state.link).toEqual({ state: 'linked', kind: 'simulated', label: 'simulated board' });
  });

  it('asks a linked board when it is seen again, and only then', async () => {
    const on = await BenchInProcess.opened();
    await on.ask('link', 'begin', 'take one');
    const lines: string[] = [];
    on.place.onWire((direction, line) => direction === 'to_board' && lines.push(line));
    on.sight.hide();
    await on.pass(600_000);
    expect(lines).toEqual([]);
    on.sight.show();
    await on.pass(1000);
    expect(lines).toEqual([expect.stringMatching(/^\?\d+ memory /)]);
    expect(on.state.link.state).toBe('linked');
  });

  it('takes a board that answers no more then for asleep, and links it again when it wakes', async () => {
    const on = await BenchInProcess.opened();
    await on.ask('link', 'begin', 'take one');
    on.sight.hide();
    on.board.quirk({ manners: { silent: true, lateMs: 0, twice: false } });
    on.sight.show();
    await on.pass(4600); // three times a second and a half
    expect(on.state.link).toMatchObject({ state: 'lost', end: 'asleep' });
    on.board.quirk({ manners: { silent: false, lateMs: 0, twice: false } });
    await on.pass(12_000);
    expect(on.state.link.state).toBe('linked');
    await on.ask('take one');
    expect(numbers(on)).toEqual([1, 2]);
  });
});

/** A kind of link whose boards a person picks from a list, with one board behind it. */
class Listed implements LinkKind {
  readonly label = 'USB cable';
  readonly chosen: string[] = [];
  /** What the chooser brings. */
  choice: ByteLink | LinkError;
  /** What the browser gives back after a reload. */
  returned: readonly ByteLink[] = [];

  constructor(choice: ByteLink | LinkError) {
    this.choice = choice;
  }

  missing(): Promise<LinkError | undefined> {
    return Promise.resolve(undefined);
  }

  choose(): Promise<ByteLink> {
    this.chosen.push('asked');
    return this.choice instanceof LinkError
      ? Promise.reject(this.choice)
      : Promise.resolve(this.choice);
  }

  permitted(): Promise<readonly ByteLink[]> {
    return Promise.resolve(this.returned);
  }
}

/** A board on a cable: a simulated one, as far as nobody looks for its hand. */
const onCable = (on: BenchInProcess, seed: number) =>
  inProcessBoard({ ...defaultSettings, seed }, on.clock);

/** A link that ends, but cannot let go of its port. */
const unclosable = (link: ByteLink): ByteLink => ({
  label: link.label,
  open: (listener) => link.open(listener),
  write: (bytes) => link.write(bytes),
  close: async () => {
    await link.close();
    throw new LinkError('failed', 'the port cannot be closed');
  },
});

describe('a board that a person picks from a list', () => {
  it('is asked for in the gesture itself, before anything is awaited', async () => {
    const on = await BenchInProcess.opened();
    const kind = new Listed(onCable(on, 7).link);
    on.kinds.serial = kind;
    const linking = on.bench.link('serial');
    expect(kind.chosen).toHaveLength(1);
    await on.run(linking);
    expect(on.state.link).toMatchObject({ state: 'linked', kind: 'serial' });
    expect(on.state.simulator).toBeUndefined();
  });

  it('comes back after a reload without a person where the browser gives it back, known by its serial number', async () => {
    const on = await BenchInProcess.opened();
    const { link } = onCable(on, 7);
    const kind = new Listed(link);
    on.kinds.serial = kind;
    await on.run(on.bench.link('serial'));
    await on.ask('begin');
    kind.returned = [onCable(on, 8).link, link]; // ports have no names that last
    await link.close(); // as a browser does when the page goes
    await on.reload();
    expect(on.state.link).toMatchObject({ state: 'linked', kind: 'serial' });
    expect(on.bench.places).toHaveLength(1);
    expect(kind.chosen).toHaveLength(1);
    expect(on.calibration.ended).toBeUndefined();
  });

  it('comes back after a reload by one tap where the browser wants it chosen again', async () => {
    const on = await BenchInProcess.opened();
    const { link } = onCable(on, 7);
    const kind = new Listed(link);
    on.kinds.bluetooth = kind;
    await on.run(on.bench.link('bluetooth'));
    await on.ask('begin');
    await link.close();
    await on.reload();
    expect(on.state.link).toMatchObject({ state: 'lost', end: 'page closed' });
    expect(nextStep(on.state)).toMatchObject({ main: { does: 'link' }, others: [] });
    const again = on.place.perform('link');
    expect(kind.chosen).toHaveLength(2);
    await on.run(again);
    expect(on.state.link.state).toBe('linked');
    expect(on.bench.places).toHaveLength(1);
  });

  it('is not linked when the list is closed, and the person is told why it may not have been in it', async () => {
    const on = await BenchInProcess.opened();
    on.kinds.bluetooth = new Listed(new LinkError('none_chosen', 'nothing was chosen'));
    await on.run(on.bench.link('bluetooth'));
    expect(on.state.link.state).toBe('none');
    expect(on.state.trouble?.heading).toBe('No board was chosen');
    expect(on.state.trouble?.next?.join(' ')).toContain('linked to a phone');
  });

  it('has the words for a port that this user may not open, on this system', async () => {
    const on = await BenchInProcess.opened();
    const { link } = onCable(on, 7);
    const refusing: ByteLink = {
      label: link.label,
      open: () => Promise.reject(new LinkError('no_rights', 'permission denied')),
      write: (bytes) => link.write(bytes),
      close: () => link.close(),
    };
    on.kinds.serial = new Listed(refusing);
    await on.run(on.bench.link('serial'));
    expect(on.state.link.state).toBe('none');
    expect(on.state.trouble?.next?.[0]).toContain('dialout');
  });

  it('is put away although its port cannot be closed, which is told', async () => {
    const on = await BenchInProcess.opened();
    on.kinds.serial = new Listed(unclosable(onCable(on, 7).link));
    await on.run(on.bench.link('serial'));
    await on.ask('unlink');
    expect(on.state.link.state).toBe('none');
    expect(on.place.serial).toBeUndefined();
    expect(on.state.trouble?.message).toContain('the port cannot be closed');
  });

  it('is not left half linked when it is at the bench already and its second port cannot be closed', async () => {
    const on = await BenchInProcess.opened();
    const kind = new Listed(onCable(on, 7).link);
    on.kinds.serial = kind;
    await on.run(on.bench.link('serial'));
    const first = on.place;
    kind.choice = unclosable(onCable(on, 7).link);
    on.bench.linkAnother();
    const second = on.place;
    await on.run(on.bench.link('serial'));
    expect(second.state.link.state).toBe('none');
    expect(on.place).toBe(first);
    expect(on.state.trouble?.heading).toBe('This board is at the bench already');
  });

  it('is no trouble when a person stops the linking just as the link is closed', async () => {
    const on = await BenchInProcess.opened();
    const { link } = onCable(on, 7);
    const stopped: ByteLink = {
      label: link.label,
      open: () => Promise.reject(new LinkError('closed', 'the port is closed')),
      write: (bytes) => link.write(bytes),
      close: () => on.place.perform('stop'),
    };
    on.kinds.serial = new Listed(stopped);
    await on.run(on.bench.link('serial'));
    expect(on.state.link.state).toBe('none');
    expect(on.state.trouble).toBeUndefined();
  });

  it('says so when another board answers than was there before', async () => {
    const on = await BenchInProcess.opened();
    const kind = new Listed(onCable(on, 7).link);
    on.kinds.serial = kind;
    await on.run(on.bench.link('serial'));
    await on.ask('begin');
    const first = on.place.serial;
    kind.choice = onCable(on, 8).link;
    await on.ask('choose');
    expect(on.place.serial).not.toBe(first);
    expect(on.state.said).toContain('another board than before');
    expect(on.state.history.calibration).toBeUndefined();
  });

  it('takes back nothing on another board that was marked on the one before', async () => {
    const on = await BenchInProcess.opened();
    const other = onCable(on, 8);
    const kind = new Listed(other.link);
    on.kinds.serial = kind;
    await on.run(on.bench.link('serial'));
    await on.ask('begin', 'take one');
    kind.choice = onCable(on, 7).link;
    await on.ask('choose', 'begin', 'take one');
    await on.run(
      on.place.mark({ does: 'set aside', reading: '1', reason: 'It moved while it was taken' }),
    );
    expect(on.calibration.marks.done).toHaveLength(1);
    kind.choice = other.link;
    await on.ask('choose');
    const before = (await on.logbook()).length;
    await on.ask('undo');
    expect(await on.logbook()).toHaveLength(before);
  });

  it('can still undo a mark when the same board is linked again', async () => {
    const on = await BenchInProcess.opened();
    const kind = new Listed(onCable(on, 7).link);
    on.kinds.serial = kind;
    await on.run(on.bench.link('serial'));
    await on.ask('begin', 'take one');
    await on.run(
      on.place.mark({ does: 'set aside', reading: '1', reason: 'It moved while it was taken' }),
    );
    await on.ask('choose', 'undo');
    expect(on.calibration.readings[0]?.setAside).toBeUndefined();
  });
});
