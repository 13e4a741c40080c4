import { expect, it } from 'vitest';
import { careOf } from '../../../src/steps/care/care-state.ts';
import { clockDrift } from '../../../src/steps/care/naming.ts';
import { formatAnswer, parseLine } from '../../../src/protocol/line.ts';
import { BenchInProcess } from '../bench-in-process.ts';
import { asText } from '../garbling.ts';

const setting = ({ state }: BenchInProcess, name: string) =>
  state.history.care.settings?.settings.find((each) => each.name === name)?.value;
const kinds = async (on: BenchInProcess) => (await on.logbook()).map(({ kind }) => kind);
const linked = async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link');
  return on;
};

it('sends all wanted settings together, reads them back, and says which wait for a restart', async () => {
  const on = await linked();
  const { care } = on.place;
  care.want('sleep', '25');
  care.want('radio', 'far');
  care.want('beep', 'off');
  care.want('beep', 'on'); // as it is: no change
  const adopts: string[] = [];
  on.place.onWire((what, line) => {
    if (what === 'to_board' && / (change|adopt) /.test(line)) adopts.push(line.split(' ')[1]!);
  });
  await on.run(care.sendSettings());
  expect(on.state.trouble).toBeUndefined();
  expect(adopts).toEqual(['change', 'change', 'adopt']);
  expect([setting(on, 'sleep'), setting(on, 'radio')]).toEqual(['25', 'far']);
  expect(careOf(on.state)).toMatchObject({ restartWaits: true, wanted: new Map() });
  expect((await kinds(on)).slice(-3)).toEqual([
    'settings begun',
    'settings adopted',
    'settings saved',
  ]);
  await on.run(care.restart());
  expect(on.state.link.state).toBe('linked');
  expect(careOf(on.state).restartWaits).toBeUndefined();
});

it('sends nothing where one value cannot be', async () => {
  const on = await linked();
  on.place.care.want('sleep', '500');
  await on.run(on.place.care.sendSettings());
  expect(on.state.trouble?.message).toContain('“Sleeps when left alone for” is above 120');
  expect(await kinds(on)).not.toContain('settings begun');
  expect(careOf(on.state).wanted.get('sleep')).toBe('500'); // to be corrected
});

it('keeps a snapshot at a link that finds a new revision, and none at another', async () => {
  const on = await linked();
  const count = async () => (await kinds(on)).filter((kind) => kind === 'settings saved').length;
  expect(await count()).toBe(1);
  await on.ask('link');
  expect(await count()).toBe(1);
  on.place.care.want('sleep', '25');
  await on.run(on.place.care.sendSettings());
  await on.ask('link');
  expect(await count()).toBe(2);
});

it('puts back an earlier snapshot of the same board, and one of another board of its kind', async () => {
  const on = await linked();
  on.place.care.want('sleep', '25');
  await on.run(on.place.care.sendSettings());
  await on.run(on.place.care.lookForSnapshots());
  const [first] = careOf(on.state).snapshots!;
  on.place.care.stage(first!);
  expect(careOf(on.state).wanted).toEqual(new Map([['sleep', '10']]));
  expect(setting(on, 'sleep')).toBe('25'); // nothing is sent by that
  await on.run(on.place.care.sendSettings());
  expect(setting(on, 'sleep')).toBe('10');

  on.place.care.want('owner', 'Club');
  await on.run(on.place.care.sendSettings());
  const serial = on.place.serial;
  on.bench.linkAnother();
  await on.ask('link');
  await on.run(on.place.care.lookForSnapshots());
  const others = careOf(on.state).snapshots!;
  expect(others.map((each) => each.serial)).toEqual([serial]);
  on.place.care.stage(others[0]!);
  await on.run(on.place.care.sendSettings());
  expect(on.place.serial).not.toBe(serial);
  expect(setting(on, 'owner')).toBe('Club');
});

it.each([
  { lost: 'the change reaches the board', cut: 'before', adopted: false },
  { lost: 'the board says that it adopted', cut: 'after', adopted: true },
])('knows what became of settings when the link drops before $lost', async ({ cut, adopted }) => {
  const on = await linked();
  on.place.care.want('sleep', '25');
  if (cut === 'after') on.onMemory = () => on.board.dropAfter(0);
  else {
    on.onAppended = async ([entry]) => {
      if (entry!.kind === 'settings begun') on.board.dropAfter(0);
    };
  }
  await on.run(on.place.care.sendSettings());
  on.onMemory = () => {};
  await on.reload();
  expect(setting(on, 'sleep')).toBe(adopted ? '25' : '10');
  expect(on.state.said).toContain(adopted ? 'the board did it' : 'Nothing of it happened');
  expect(careOf(on.state).wanted.size).toBe(adopted ? 0 : 1);
  expect(on.state.history.care.settingsBegun).toBeUndefined();
});

it('links a board whose settings make no sense, says so, and calibrates it', async () => {
  const on = await BenchInProcess.opened();
  on.garble = (text) => {
    const line = parseLine(text);
    const isSetting = typeof line !== 'string' && line.kind === 'answer' && 'label' in line.fields;
    return isSetting ? asText(formatAnswer(line.tag, true, { ...line.fields, kind: 'odd' })) : text;
  };
  await on.ask('link');
  expect(on.state.link.state).toBe('linked');
  expect(on.state.trouble?.heading).toBe('The board sent nonsense');
  expect(on.state.history.care.settings).toBeUndefined();
  await on.ask('begin', 'take one');
  expect(on.calibration.readings).toHaveLength(1);
});

it('renames the board for good, also when the answer is lost', async () => {
  const on = await linked();
  await on.run(on.place.care.rename('Number 7'));
  expect(on.state.history.identity?.name).toBe('Number 7');
  on.onMemory = () => on.board.dropAfter(0);
  await on.run(on.place.care.rename('Number 8'));
  on.onMemory = () => {};
  await on.reload();
  expect(on.state.history.identity?.name).toBe('Number 8');
  expect(on.state.said).toContain('is called Number 8 now');
});

it('sets the clock by this machine’s, and knows afterwards how far it has drifted', async () => {
  const on = await linked();
  expect(careOf(on.state).clock).toMatchObject({ said: 0 });
  await on.run(on.place.care.setClock());
  on.board.quirk({ clockDrift: 500 });
  await on.pass(10);
  await on.clock.run(24 * 3600 * 1000);
  await on.ask('link');
  const { clockSet } = on.state.history.care;
  const drift = clockDrift(careOf(on.state).clock!, clockSet)!;
  expect(drift.over).toBeCloseTo(86_400, -2);
  expect(drift.ahead).toBeGreaterThanOrEqual(42); // 43.2 s: 500 millionths of a day
  expect(drift.ahead).toBeLessThanOrEqual(44);
});

it('does not call it drift when the board lost its time, and knows nothing of a clock never set', () => {
  const set = { utc: 1000, time: new Date(1000_000).toISOString() };
  const at = new Date(5000_000).toISOString();
  expect(clockDrift({ said: 0, at }, set)).toBeUndefined();
  expect(clockDrift({ said: 12, at }, set)).toEqual({ ahead: 12 - 5000 });
  expect(clockDrift({ said: 5003, at }, set)).toEqual({ ahead: 3, over: 4000 });
});

it('switches the light, and takes a reading outside any calibration', async () => {
  const on = await linked();
  expect(careOf(on.state).light).toBe('off');
  await on.run(on.place.care.setLight('on'));
  expect(careOf(on.state).light).toBe('on');
  await on.run(on.place.care.trigger());
  expect(on.state.trouble).toBeUndefined();
  expect(on.state.history.found).toHaveLength(1);
  expect(on.state.said).toContain('Reading 1 was taken and saved');
});
