import { CARE_VERBS, unfit, type Setting } from '../../protocol/care-messages.ts';
import { encodeItem } from '../../protocol/line.ts';
import { RANGE_SETTINGS } from '../../protocol/range-settings.ts';
import { messageFault } from './fields-of.ts';
import type { Exchange } from './talk.ts';
import type { Check, Trial } from './trial.ts';

/** Checks of SPEC.md, sections 4.4 to 4.6: name, clock, light, settings, and firmware as far as nothing is loaded. */

/** Whether the board has the verb; one that it may lack it refuses with unknown_verb, and that is no fault. */
function lacks({ answer }: Exchange): boolean {
  return answer?.ok === false && answer.fields['code']?.[0] === 'unknown_verb';
}

/** A name that is not the one the board has, and no longer than any. */
const otherName = (name: string): string => (name === 't' ? 'u' : 't');

/** Another value that the setting can have, or nothing where it can have only the one. */
function otherValue(setting: Setting): string | undefined {
  const candidates = [
    ...['on', 'off', 't', 'u', '0', '1', '2'],
    ...(setting.choices ?? []),
    ...[setting.default, setting.min, setting.max].filter((value) => value !== undefined),
  ];
  return candidates.find((value) => value !== setting.value && unfit(setting, value) === undefined);
}

/** A value that no setting of this kind can have. */
const impossible = ({ kind }: Setting): string => (kind === 'text' ? 'x'.repeat(30) : 'x!');

/** Reads one setting; nothing where it cannot be read. */
async function settingAt(trial: Trial, at: number): Promise<Setting | undefined> {
  const fields = await trial.get(`setting at=${at}`);
  return messageFault('setting', fields) === undefined
    ? CARE_VERBS.setting.answer.read(fields)
    : undefined;
}

/** A setting that can be changed, best one that needs no restart, and another value for it. */
async function changeable(trial: Trial): Promise<{ setting: Setting; value: string }> {
  trial.need(trial.ground.found.can.includes('settings'), 'it has no settings');
  const count = Number((await trial.get('settings'))['count']?.[0]);
  const able: { setting: Setting; value: string }[] = [];
  for (let at = 1; at <= Math.min(count, 99); at++) {
    const setting = await settingAt(trial, at);
    const value = setting && otherValue(setting);
    if (setting && value !== undefined) able.push({ setting, value });
  }
  const found = able.find(({ setting }) => !setting.restart) ?? able[0];
  trial.need(found !== undefined, 'it has no setting that could have another value');
  return found;
}

const { constant, scale } = RANGE_SETTINGS;

const isOfRanges = (name: string | undefined): boolean =>
  name === constant.name || name === scale.name;

/** Those settings of a board that bear a name of section 4.5.1: none, or both, as they are there. */
function expectOfRanges(trial: Trial, described: readonly Exchange[]): void {
  if (described.length === 0) return;
  const wanted = `${constant.name} and ${scale.name}, both, on a board with the capability range.`;
  const { can } = trial.ground.found;
  trial.expect(described.length === 2 && can.includes('range'), [...described], wanted);
  for (const exchange of described) {
    const of = exchange.answer?.fields ?? {};
    const { name, unit } = of['name']?.[0] === constant.name ? constant : scale;
    const isSo = of['kind']?.[0] === 'number' && of['unit']?.[0] === unit;
    const isSoon = of['restart']?.[0] === 'no';
    trial.expect(isSo && isSoon, exchange, `${name} with kind=number unit=${unit} restart=no.`);
    const isFine = name === scale.name || Number(of['decimals']?.[0] ?? 0) >= 3;
    trial.expect(isFine, exchange, `${name} with decimals=3 or more.`);
  }
}

const revisionOf = async (trial: Trial): Promise<number> =>
  Number((await trial.get('settings'))['revision']?.[0]);

const changing = (name: string, value: string): string =>
  `change name=${name} value=${encodeItem(value)}`;

export const careChecks: readonly Check[] = [
  {
    name: 'what it cannot do',
    section: '7',
    says: 'A capability not listed is not there; its verbs answer unknown_verb.',
    need: 'always',
    async run(trial: Trial) {
      await trial.hello();
      const { can } = trial.ground.found;
      const lacking = ['settings', 'image'].filter((capability) => !can.includes(capability));
      trial.need(lacking.length > 0, 'it has every capability that brings verbs');
      for (const verb of lacking) trial.expectError(await trial.ask(verb), 'unknown_verb');
    },
  },
  {
    name: 'the clock',
    section: '4.4',
    says: 'clock answers with utc=, which is 0 until it was set; a board without one answers unknown_verb.',
    need: 'always',
    async run(trial: Trial) {
      await trial.hello();
      const once = await trial.ask('clock');
      if (lacks(once)) return;
      const fields = trial.expectOk(once, 'clock');
      trial.expectError(await trial.ask('clock set=now'), 'bad_field', { field: 'set' });
      const again = await trial.ask('clock');
      const later = trial.expectOk(again, 'clock');
      const runs = !fields || !later || Number(later['utc']?.[0]) >= Number(fields['utc']?.[0]);
      trial.expect(runs, [once, again], 'A clock that does not run backwards.');
    },
  },
  {
    name: 'the light',
    section: '4.4',
    says: 'light answers with light=on or off, and light set=off puts it out; a board without one answers unknown_verb.',
    need: 'always',
    async run(trial: Trial) {
      // it is never switched on: nobody may be looking into it
      await trial.hello();
      const once = await trial.ask('light');
      if (lacks(once)) return;
      trial.expectOk(once, 'light');
      trial.expectError(await trial.ask('light set=dim'), 'bad_field', { field: 'set' });
      for (const request of ['light set=off', 'light']) {
        const exchange = await trial.ask(request);
        const fields = trial.expectOk(exchange, 'light');
        trial.expect(!fields || fields['light']?.[0] === 'off', exchange);
      }
    },
  },
  {
    name: 'settings',
    section: '4.5',
    says: 'settings says how many there are, their revision, and that none is changed after a hello; each describes itself with the fields of the table, and has a value that it can have. range_constant and range_scale, where a board has them, are as 4.5.1 says.',
    need: 'always',
    async run(trial: Trial) {
      await trial.hello();
      trial.need(trial.ground.found.can.includes('settings'), 'it has no settings');
      const exchange = await trial.ask('settings');
      const fields = trial.expectOk(exchange, 'settings');
      trial.expect(!fields || fields['changed']?.[0] === '0', exchange);
      const count = Math.min(99, Number(fields?.['count']?.[0]) || 0);
      const seen = new Set<string | undefined>();
      const ofRanges: Exchange[] = [];
      for (let at = 1; at <= count; at++) {
        const described = await trial.ask(`setting at=${at}`);
        const of = trial.expectOk(described, 'setting');
        trial.expect(!of || of['at']?.[0] === String(at), described);
        trial.expect(!of || !seen.has(of['name']?.[0]), described, 'A name of its own.');
        seen.add(of?.['name']?.[0]);
        if (of && isOfRanges(of['name']?.[0])) ofRanges.push(described);
      }
      expectOfRanges(trial, ofRanges);
      for (const at of ['x', '0', ...(count < 99 ? [count + 1] : [])]) {
        trial.expectError(await trial.ask(`setting at=${at}`), 'bad_field', { field: 'at' });
      }
    },
  },
  {
    name: 'a setting changed',
    section: '4.5',
    says: 'change notes a change of a setting to a value that it can have, and refuses others with bad_field and field=name or field=value; hello throws away what was not adopted.',
    need: 'always',
    async run(trial: Trial) {
      await trial.hello();
      const { setting, value } = await changeable(trial);
      const exchange = await trial.ask(changing(setting.name, value));
      const fields = trial.expectOk(exchange, 'change');
      trial.expect(
        !fields || (fields['value']?.[0] === value && fields['changed']?.[0] === '1'),
        exchange,
      );
      const noted = await trial.ask(`setting at=${setting.at}`);
      trial.expect(noted.answer?.fields['value']?.[0] === value, [exchange, noted]);
      const wrong = await trial.ask(changing(setting.name, impossible(setting)));
      trial.expectError(wrong, 'bad_field', { field: 'value' });
      const unknown = await trial.ask('change name=no_such_setting value=1');
      trial.expectError(unknown, 'bad_field', { field: 'name' });
      const hello = await trial.talk.hello();
      trial.needOk(hello);
      const look = await trial.ask(`setting at=${setting.at}`);
      trial.expect(
        look.answer?.fields['value']?.[0] === setting.value,
        [hello, look],
        'The value from before: hello throws away what was not adopted.',
      );
    },
  },
  {
    name: 'the image report',
    section: '4.6',
    says: 'image answers with the fields of the table; running is the firmware that hello names.',
    need: 'always',
    async run(trial: Trial) {
      const hello = await trial.hello();
      trial.need(trial.ground.found.can.includes('image'), 'it takes no firmware over the link');
      const exchange = await trial.ask('image');
      const fields = trial.expectOk(exchange, 'image');
      trial.expect(!fields || fields['running']?.[0] === hello['firmware']?.[0], exchange);
    },
  },
  {
    name: 'new firmware',
    section: '4.6',
    says: 'load, put, verify, swap and confirm replace the firmware by way of the spare slot.',
    need: 'never',
    async run() {},
  },
  {
    name: 'rename',
    section: '4.4',
    says: 'rename gives the board the name that hello tells from then on.',
    need: 'settings',
    async run(trial: Trial) {
      const hello = await trial.hello();
      const name = otherName(hello['name']?.[0] ?? '');
      trial.ground.ledger.renamed = true;
      const exchange = await trial.ask(`rename to=${name}`);
      const fields = trial.expectOk(exchange, 'rename');
      trial.expect(!fields || fields['name']?.[0] === name, exchange);
      const after = await trial.talk.hello();
      trial.expect(trial.needOk(after)['name']?.[0] === name, [exchange, after]);
    },
  },
  {
    name: 'rename refused',
    section: '4.4',
    says: 'rename is refused with check_needed without a check, and with bad_field where the name is missing or longer than 20 bytes.',
    need: 'settings',
    async run(trial: Trial) {
      const hello = await trial.hello();
      const name = otherName(hello['name']?.[0] ?? '');
      trial.ground.ledger.renamed = true;
      trial.expectError(await trial.talk.type(`rename to=${name}`), 'check_needed');
      trial.expectError(await trial.ask('rename'), 'bad_field', { field: 'to' });
      trial.expectError(await trial.ask(`rename to=${'x'.repeat(21)}`), 'bad_field', {
        field: 'to',
      });
      const after = await trial.talk.hello();
      trial.expect(trial.needOk(after)['name']?.[0] === hello['name']?.[0], after);
    },
  },
  {
    name: 'adopt refused',
    section: '4.5',
    says: 'adopt is refused with nothing_staged where nothing is changed, with stale_generation and the revision where it names another, and with check_needed without a check.',
    need: 'settings',
    async run(trial: Trial) {
      await trial.hello();
      const { setting, value } = await changeable(trial);
      const revision = await revisionOf(trial);
      trial.expectError(await trial.ask(`adopt replaces=${revision}`), 'nothing_staged');
      trial.ground.ledger.setting ??= { name: setting.name, value: setting.value };
      await trial.get(changing(setting.name, value));
      trial.expectError(await trial.talk.type(`adopt replaces=${revision}`), 'check_needed');
      const stale = await trial.ask(`adopt replaces=${revision + 1}`);
      trial.expectError(stale, 'stale_generation', { generation: String(revision) });
      const look = await trial.ask('settings');
      const same = trial.needOk(look)['revision']?.[0] === String(revision);
      trial.expect(same, look, 'The revision is unchanged.');
    },
  },
  {
    name: 'adopt',
    section: '4.5',
    says: 'adopt puts all changes in force as revision replaces + 1, and a repeated adopt gets the same answer and changes nothing.',
    need: 'settings',
    async run(trial: Trial) {
      await trial.hello();
      const { setting, value } = await changeable(trial);
      const revision = await revisionOf(trial);
      await trial.get(changing(setting.name, value));
      trial.ground.ledger.setting ??= { name: setting.name, value: setting.value };
      const tag = trial.talk.freshTag();
      const exchange = await trial.ask(`adopt replaces=${revision}`, tag);
      const fields = trial.expectOk(exchange, 'adopt');
      const next = String(revision + 1);
      trial.expect(!fields || fields['revision']?.[0] === next, exchange);
      const waits = setting.restart ? 'yes' : 'no';
      trial.expect(
        !fields || fields['restart']?.[0] === waits,
        exchange,
        `restart=${waits}, as the setting says.`,
      );
      const again = await trial.ask(`adopt replaces=${revision}`, tag);
      trial.expect(again.answer?.ok === true, [exchange, again]);
      await trial.hello();
      const state = await trial.ask('settings');
      const now = trial.needOk(state);
      trial.expect(now['revision']?.[0] === next && now['changed']?.[0] === '0', [exchange, state]);
      const look = await trial.ask(`setting at=${setting.at}`);
      trial.expect(
        look.answer?.fields['value']?.[0] === value,
        [exchange, look],
        'The value that was adopted.',
      );
    },
  },
];
