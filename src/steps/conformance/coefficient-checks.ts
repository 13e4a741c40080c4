import { expectAngles } from './request-checks.ts';
import type { Exchange } from './talk.ts';
import type { Check, StagedSet, Trial } from './trial.ts';

/**
 * Checks of SPEC.md, section 4.3, that seal and revert. What is sealed in them is the set in force, turned a little about
 * the sight, which changes where roll is zero and no azimuth and no inclination: cut off in the midst of them, a board
 * still measures right.
 */

/** The set in force is still the right one; what was refused has sealed nothing. */
async function expectUnchanged(trial: Trial, after: Exchange): Promise<void> {
  const look = await trial.ask('coefficients which=in_force');
  const { crc, generation } = trial.ground.right!;
  const fields = trial.needOk(look);
  const same = fields['crc']?.[0] === crc && fields['generation']?.[0] === String(generation);
  trial.expect(same, [after, look], 'The set in force is unchanged.');
}

/** The generation in force, as the checks before left it. */
const generationOf = (trial: Trial): number => trial.ground.right!.generation;

/** Sends what changes the set in force, noting first that it may have. */
async function change(trial: Trial, request: string): Promise<Exchange> {
  trial.ground.ledger.sealed = true;
  trial.ground.ledger.displaced = true;
  const tag = trial.talk.freshTag();
  const exchange = await trial.ask(request, tag);
  const answer = exchange.came.find(({ line }) => line?.kind === 'answer')?.text ?? '';
  trial.ground.lastChange = { request, tag, answer };
  return exchange;
}

/** What a board must refuse. Should it do it all the same, that is put right before the next check. */
async function mustRefuse(
  trial: Trial,
  exchange: Promise<Exchange>,
  code: Parameters<Trial['expectError']>[1],
  fields: Readonly<Record<string, string>> = {},
): Promise<void> {
  trial.ground.ledger.sealed = true;
  const refused = await exchange;
  trial.expectError(refused, code, fields);
  await expectUnchanged(trial, refused);
}

const seal = (replaces: number, { crc }: StagedSet): string =>
  `seal replaces=${replaces} crc=${crc}`;

export const coefficientChecks: readonly Check[] = [
  {
    name: 'the first seal',
    section: '4.3',
    says: 'With generation 0 the first seal says replaces=0, and its set is generation 1.',
    need: 'first seal',
    async run(trial: Trial) {
      await trial.hello();
      const { own } = trial.ground.sets;
      await trial.stageAndCheck(own);
      trial.ground.ledger.firstSealed = true;
      const exchange = await trial.ask(seal(0, own));
      const fields = trial.expectOk(exchange, 'seal');
      trial.expect(!fields || fields['generation']?.[0] === '1', exchange);
      const look = await trial.ask('coefficients which=in_force');
      const inForce = trial.expectOk(look, 'coefficients');
      trial.expect(!inForce || inForce['crc']?.[0] === own.crc, [exchange, look]);
    },
  },
  {
    name: 'revert with nothing before',
    section: '4.3',
    says: 'revert is refused with no_such_set where there is no previous set.',
    need: 'first seal',
    async run(trial: Trial) {
      await trial.hello();
      const { generation } = await trial.inForce();
      trial.need(generation === 1, 'the first seal did not give generation 1');
      trial.expectError(await trial.ask('revert replaces=1'), 'no_such_set');
    },
  },
  {
    name: 'seal of what was not checked',
    section: '4.3',
    says: 'seal wants the staged set checked since it was staged; otherwise it is refused with not_checked.',
    need: 'seal',
    async run(trial: Trial) {
      const { own } = trial.ground.sets;
      await trial.hello();
      const request = seal(generationOf(trial), own);
      await mustRefuse(trial, trial.ask(request), 'not_checked');
      await trial.stage(own);
      await mustRefuse(trial, trial.ask(request), 'not_checked');
      await trial.stageAndCheck(own);
      await trial.stage(own);
      await mustRefuse(trial, trial.ask(request), 'not_checked');
    },
  },
  {
    name: 'seal of another CRC',
    section: '4',
    says: 'seal with another CRC than that of the staged set is refused with crc_mismatch.',
    need: 'seal',
    async run(trial: Trial) {
      const { own, other } = trial.ground.sets;
      await trial.hello();
      await trial.stageAndCheck(own);
      await mustRefuse(trial, trial.ask(seal(generationOf(trial), other)), 'crc_mismatch');
    },
  },
  {
    name: 'seal of a stale generation',
    section: '2.5',
    says: 'seal names the generation it replaces; where another is in force it is refused with stale_generation and the one in force.',
    need: 'seal',
    async run(trial: Trial) {
      const { own } = trial.ground.sets;
      await trial.hello();
      await trial.stageAndCheck(own);
      const generation = String(generationOf(trial));
      for (const stale of [generationOf(trial) - 1, generationOf(trial) + 1]) {
        await mustRefuse(trial, trial.ask(seal(stale, own)), 'stale_generation', { generation });
      }
    },
  },
  {
    name: 'seal typed by hand',
    section: '1.6',
    says: 'seal without a check is refused with check_needed.',
    need: 'seal',
    async run(trial: Trial) {
      const { own } = trial.ground.sets;
      await trial.hello();
      await trial.stageAndCheck(own);
      await mustRefuse(trial, trial.talk.type(seal(generationOf(trial), own)), 'check_needed');
    },
  },
  {
    name: 'revert typed by hand',
    section: '1.6',
    says: 'revert without a check is refused with check_needed.',
    need: 'seal',
    async run(trial: Trial) {
      await trial.hello();
      const request = `revert replaces=${generationOf(trial)}`;
      await mustRefuse(trial, trial.talk.type(request), 'check_needed');
    },
  },
  {
    name: 'seal out of range',
    section: '4',
    says: 'A field of seal or revert that is missing, malformed or out of range is answered by bad_field, and nothing is sealed.',
    need: 'seal',
    async run(trial: Trial) {
      const { own } = trial.ground.sets;
      await trial.hello();
      await trial.stageAndCheck(own);
      const generation = generationOf(trial);
      const faulty = [
        [`seal crc=${own.crc}`, 'replaces'],
        [`seal replaces=x crc=${own.crc}`, 'replaces'],
        [`seal replaces=0${generation} crc=${own.crc}`, 'replaces'],
        [`seal replaces=${generation}`, 'crc'],
        [`seal replaces=${generation} crc=${own.crc.slice(1)}`, 'crc'],
        ['revert', 'replaces'],
        ['revert replaces=100000', 'replaces'],
      ] as const;
      for (const [request, field] of faulty) {
        await mustRefuse(trial, trial.ask(request), 'bad_field', { field });
      }
    },
  },
  {
    name: 'seal',
    section: '4.3',
    says: 'seal puts the checked set in force as generation replaces + 1; the set in force until then becomes the previous one, and nothing is staged any more.',
    need: 'seal',
    leaves: true,
    async run(trial: Trial) {
      const { own } = trial.ground.sets;
      const before = trial.ground.right!;
      await trial.hello();
      await trial.stageAndCheck(own);
      const exchange = await change(trial, seal(before.generation, own));
      const fields = trial.expectOk(exchange, 'seal');
      const next = String(before.generation + 1);
      trial.expect(!fields || fields['generation']?.[0] === next, exchange, `generation=${next}`);
      await expectStands(
        trial,
        exchange,
        { crc: own.crc, generation: before.generation + 1 },
        before.crc,
      );
      await trial.expectNothingStaged(exchange);
    },
  },
  {
    name: 'seal repeated',
    section: '2.3',
    says: 'A repeated seal gets the same answer, and nothing is sealed a second time.',
    need: 'seal',
    leaves: true,
    run: (trial) => repeatChange(trial),
  },
  {
    name: 'the generation in hello',
    section: '3',
    says: 'hello names the generation in force.',
    need: 'seal',
    leaves: true,
    async run(trial: Trial) {
      const exchange = await trial.talk.hello();
      const fields = trial.needOk(exchange);
      const { generation, crc } = await trial.inForce();
      trial.need(crc === trial.ground.sets.own.crc, 'the set to be sealed is not in force');
      trial.expect(fields['generation']?.[0] === String(generation), exchange);
    },
  },
  {
    name: 'angles after a seal',
    section: '6.2',
    says: 'Angles are computed with the coefficients in force, from the moment they are.',
    need: 'seal',
    leaves: true,
    async run(trial: Trial) {
      const { own } = trial.ground.sets;
      await trial.hello();
      const { crc } = await trial.inForce();
      trial.need(crc === own.crc, 'the set to be sealed is not in force');
      const exchange = await trial.ask('sense');
      const fields = trial.needOk(exchange);
      expectAngles(trial, exchange, fields, { generation: 0, ...own });
    },
  },
  {
    name: 'revert of a stale generation',
    section: '2.5',
    says: 'revert names the generation it replaces; where another is in force it is refused with stale_generation and the one in force.',
    need: 'seal',
    leaves: true,
    async run(trial: Trial) {
      await trial.hello();
      const { generation } = await trial.inForce();
      trial.ground.ledger.sealed = true;
      for (const stale of [generation - 1, generation + 1]) {
        const exchange = await trial.ask(`revert replaces=${stale}`);
        trial.expectError(exchange, 'stale_generation', { generation: String(generation) });
      }
    },
  },
  {
    name: 'revert',
    section: '4.3',
    says: 'revert puts the previous set in force as generation replaces + 1, and the one in force becomes the previous one.',
    need: 'seal',
    leaves: true,
    async run(trial: Trial) {
      const { own } = trial.ground.sets;
      const right = trial.ground.right!;
      await trial.hello();
      const now = await trial.inForce();
      trial.need(now.crc === own.crc, 'the set to be sealed is not in force');
      const exchange = await change(trial, `revert replaces=${now.generation}`);
      const fields = trial.expectOk(exchange, 'revert');
      const next = String(now.generation + 1);
      trial.expect(!fields || fields['generation']?.[0] === next, exchange, `generation=${next}.`);
      await expectStands(
        trial,
        exchange,
        { crc: right.crc, generation: now.generation + 1 },
        own.crc,
      );
    },
  },
  {
    name: 'revert repeated',
    section: '2.3',
    says: 'A repeated revert gets the same answer, and nothing is reverted a second time.',
    need: 'seal',
    run: (trial) => repeatChange(trial),
  },
];

/** Which sets are in force and previous after a change. */
async function expectStands(
  trial: Trial,
  after: Exchange,
  inForce: { crc: string; generation: number },
  previous: string,
): Promise<void> {
  const [now, before] = [
    await trial.ask('coefficients which=in_force'),
    await trial.ask('coefficients which=previous'),
  ];
  const fields = now.answer?.fields;
  const right =
    fields?.['crc']?.[0] === inForce.crc &&
    fields['generation']?.[0] === String(inForce.generation);
  trial.expect(
    right,
    [after, now],
    `In force: generation ${inForce.generation}, crc=${inForce.crc}.`,
  );
  if (trial.ground.lastChange)
    trial.ground.lastChange.generation = Number(fields?.['generation']?.[0]);
  const left = before.answer?.fields['crc']?.[0] === previous;
  trial.expect(left, [after, before], `Previous: crc=${previous}.`);
}

/** Sends the last change once more, in the same conversation and under the same tag. */
async function repeatChange(trial: Trial): Promise<void> {
  const { lastChange } = trial.ground;
  trial.need(
    lastChange !== undefined && lastChange.answer.includes(' ok '),
    'there was nothing to repeat',
  );
  const { request, tag, answer, generation } = lastChange;
  const again = await trial.ask(request, tag);
  const text = again.came.find(({ line }) => line?.kind === 'answer')?.text;
  trial.expect(text === answer, again, answer);
  const look = await trial.ask('coefficients which=in_force');
  const same = trial.needOk(look)['generation']?.[0] === String(generation);
  trial.expect(same, [again, look], 'The same generation in force as before the repeat.');
}

/** A set that measures as this one does, but for roll: turned about the sight. */
export function turnedAboutSight(
  { model, values }: { model: 'straight' | 'bowed'; values: readonly number[] },
  degrees: number,
): { model: 'straight' | 'bowed'; values: readonly number[] } {
  const [c, s] = [Math.cos((degrees * Math.PI) / 180), Math.sin((degrees * Math.PI) / 180)];
  const turned = [...values];
  for (const at of [5, 17]) {
    // the second and third rows of A, then of B: y and z of the body
    for (let i = 0; i < 3; i++) {
      const [y, z] = [values[at + 3 + i]!, values[at + 6 + i]!];
      turned[at + 3 + i] = Math.fround(c * y + s * z);
      turned[at + 6 + i] = Math.fround(c * z - s * y);
    }
  }
  return { model, values: turned };
}
