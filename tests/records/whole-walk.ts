import { CONDUCT } from '../../firmware-sim/image-slots.ts';
import { formatImage } from '../../src/protocol/firmware-image.ts';
import { setCrc } from '../../src/protocol/messages.ts';
import type { StoredEntry } from '../../src/records/entries.ts';
import '../../src/steps/checks/verdict.ts'; // loaded when it is asked for, and virtual time does not wait
import { BenchInProcess } from '../steps/bench-in-process.ts';

/**
 * A board's whole life at the bench, the simulated board and the real steps: calibrated and proven, looked after, given
 * other firmware, calibrated again with readings set aside and taken back, put back, and put on.
 */
export async function wholeWalk(): Promise<BenchInProcess> {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take rest');
  await on.run(on.place.chooseTolerance({ degrees: 1, grade: '5' }));
  await on.run(on.place.mark({ does: 'set aside', reading: '3', reason: 'A van drove by' }));
  await on.ask('fit');
  await on.run(on.place.mark({ does: 'take back', readings: ['3'] }));
  await on.ask('fit', 'write', 'prove', 'end');
  const first = on.state.history.inForce!;
  const { fieldChecks } = on.place;
  const grade = { degrees: 1, grade: '5' as const };
  await on.run(fieldChecks.begin({ check: 'rolls', mark: 'the spire', each: 2 }, grade));
  await on.ask('check rest');
  await on.run(fieldChecks.begin({ check: 'battery swap', each: 1 }, { degrees: 0.8 }));
  await on.ask('check one');
  await on.ask('leave check');

  const { care } = on.place;
  await on.run(care.rename('Longest of the shelf'));
  await on.run(care.setClock());
  care.want('sleep', '25');
  await on.run(care.sendSettings());
  await on.run(care.eraseMemory());
  const image = formatImage({
    hardware: 'simulated 1',
    version: '1.1',
    program: Uint8Array.from({ length: 1000 }, (_, i) => (i === 0 ? CONDUCT.healthy : i % 251)),
    resetsSettings: true,
    replacesCoefficients: true,
  });
  await on.run(care.chooseFirmware('some.lodefw', image));
  await on.run(care.updateFirmware());

  await on.ask('begin', 'take sighting', 'leave', 'resume', 'fit', 'take rest', 'fit', 'write');
  await on.ask('prove', 'end');
  const { model, values, crc, generation } = first;
  await on.run(
    on.place.putOn(
      { set: { model, values }, crc, source: { generation }, dip: 1.1 },
      on.place.serial!,
    ),
  );
  await on.ask('revert');
  const board = on.state.history.identity!.serial;
  const stamp = { board, time: '2031-06-01T08:00:00.000Z' };
  await on.run(on.place.record({ ...stamp, kind: 'note', text: 'Lent to a friend', id: 'n 1' }));
  await on.run(on.place.record({ ...stamp, kind: 'knocked', id: 'k 1', on: '2031-05-30' }));
  const set = { model: 'straight' as const, values: values.slice(0, 26) };
  await on.run(
    on.place.record({
      ...stamp,
      kind: 'coefficients entered',
      set,
      crc: setCrc(set),
      name: 'from its maker',
      by: 'hand',
    }),
  );
  return on;
}

let walked: Promise<{ bench: string; entries: readonly StoredEntry[] }> | undefined;

/** Every entry of a {@link wholeWalk}, made once. */
export function walkedEntries(): Promise<{ bench: string; entries: readonly StoredEntry[] }> {
  walked ??= (async () => {
    const on = await wholeWalk();
    return { bench: on.records.bench, entries: await on.logbook() };
  })();
  return walked;
}
