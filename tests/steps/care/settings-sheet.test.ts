import { expect, test } from 'vitest';
import type { Setting } from '../../../src/protocol/care-messages.ts';
import { linesOf, settingsDifference, want } from '../../../src/steps/care/settings-sheet.ts';

const sleep: Setting = {
  ...{ at: 1, name: 'sleep', label: 'Sleeps after', kind: 'number', value: '10', default: '10' },
  ...{ min: '0', max: '120', restart: false },
};
const beep: Setting = {
  ...{ at: 2, name: 'beep', label: 'Sound', kind: 'switch', value: 'on', default: 'on' },
  restart: false,
};
const sheet = { revision: 3, settings: [sleep, beep], changes: new Map<string, string>() };

test('what is wanted and back again is no change', () => {
  const changed = want(want(sheet, 'sleep', '20'), 'beep', 'off');
  expect([...changed.changes]).toEqual([
    ['sleep', '20'],
    ['beep', 'off'],
  ]);
  expect([...want(changed, 'sleep', '10').changes.keys()]).toEqual(['beep']);
  expect(want(sheet, 'nothing', '1')).toBe(sheet);
});

test('a line says what is wanted, and why it cannot be', () => {
  const [first, second] = linesOf(want(sheet, 'sleep', '121'));
  expect(first).toMatchObject({ wanted: '121', changed: true, problem: 'is above 120' });
  expect(second).toEqual({ setting: beep, wanted: 'on', changed: false });
});

test('of settings saved before it says which differ, which are lost and why, and which are new', () => {
  const saved = [
    { ...sleep, value: '90' },
    { ...beep, value: 'off' },
    { ...beep, name: 'glow', label: 'Glow' },
  ];
  const now = [{ ...sleep, max: '60' }, beep, { ...beep, name: 'hum', label: 'Hum' }];
  expect(settingsDifference(saved, now)).toEqual({
    differing: [{ name: 'beep', label: 'Sound', now: 'on', saved: 'off' }],
    lost: [
      { name: 'sleep', label: 'Sleeps after', saved: '90', why: 'is above 60' },
      { name: 'glow', label: 'Glow', saved: 'on', why: 'is no longer a setting of this board' },
    ],
    added: [{ name: 'hum', label: 'Hum', now: 'on' }],
  });
});
