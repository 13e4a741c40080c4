import { withCheck } from '../../protocol/line.ts';
import { messageFault } from './fields-of.ts';
import { QUIET_MS, type Exchange } from './talk.ts';
import type { Check, Trial } from './trial.ts';

/** Checks of SPEC.md, sections 2, 3 and 8: tags, repeats, hello. */

const textOfAnswer = ({ came }: Exchange): string | undefined =>
  came.find(({ line, stray }) => line?.kind === 'answer' && !stray)?.text;

export const conversationChecks: readonly Check[] = [
  {
    name: 'hello',
    section: '3',
    says: 'hello is answered with every field of the table, each in its range, and with protocol=1 to a host that speaks 1.',
    need: 'always',
    async run(trial: Trial) {
      const exchange = await trial.talk.hello();
      const fields = trial.expectOk(exchange, 'hello');
      trial.expect(fields === undefined || fields['protocol']?.[0] === '1', exchange);
    },
  },
  {
    name: 'hello repeats the host’s number',
    section: '3',
    says: 'The answer to hello repeats the number that the host sent, by which the host knows the answer to be its own.',
    need: 'always',
    async run(trial: Trial) {
      for (let i = 0; i < 3; i++) {
        const host = trial.talk.freshHost();
        const exchange = await trial.talk.hello(`host=${host} protocol=1`);
        trial.needOk(exchange);
        trial.expect(exchange.answer!.fields['host']?.[0] === host, exchange);
      }
    },
  },
  {
    name: 'versions',
    section: '8',
    says: 'A host names the highest version it speaks, and the board answers with the lower of both.',
    need: 'always',
    async run(trial: Trial) {
      const high = await trial.talk.hello(`host=${trial.talk.freshHost()} protocol=99`);
      const fields = trial.expectOk(high);
      const version = Number(fields?.['protocol']?.[0]);
      trial.expect(!fields || (version >= 1 && version < 99), high);
      const low = await trial.talk.hello();
      const lower = trial.expectOk(low);
      trial.expect(!lower || lower['protocol']?.[0] === '1', low);
    },
  },
  {
    name: 'hello word for word again',
    section: '3',
    says: 'A hello that repeats the last request word for word, nothing having come in between, gets the same answer.',
    need: 'always',
    async run(trial: Trial) {
      const body = `host=${trial.talk.freshHost()} protocol=1`;
      const [once, again] = [await trial.talk.hello(body), await trial.talk.hello(body)];
      trial.needOk(once);
      trial.expect(textOfAnswer(once) === textOfAnswer(again), [once, again]);
    },
  },
  {
    name: 'hello clears the tags',
    section: '3',
    says: 'hello clears the board’s memory of tags: a tag of the conversation before is as new.',
    need: 'always',
    async run(trial: Trial) {
      const { own } = trial.ground.sets;
      const stage = `stage model=${own.model} words=${own.words}`;
      await trial.hello();
      await trial.get(stage, 5);
      await trial.get('memory', 6);
      await trial.hello();
      const staged = await trial.ask(stage, 5);
      trial.needOk(staged);
      const look = await trial.ask('coefficients which=staged', 7);
      trial.expect(
        look.answer?.ok === true,
        [staged, look],
        'The set is staged: the request is new, and is carried out.',
      );
      const other = await trial.ask('mode set=idle', 6);
      trial.expect(other.answer?.ok === true, other);
    },
  },
  {
    name: 'hello throws away what is staged',
    section: '3',
    says: 'hello throws away a staged set of coefficients, whether or not its tag or its words came before in the conversation.',
    need: 'always',
    async run(trial: Trial) {
      const body = `host=${trial.talk.freshHost()} protocol=1`;
      for (const next of [`host=${trial.talk.freshHost()} protocol=1`, body]) {
        trial.needOk(await trial.talk.hello(body));
        await trial.stage(trial.ground.sets.own);
        const exchange = await trial.talk.hello(next);
        trial.needOk(exchange);
        await trial.expectNothingStaged(exchange);
      }
    },
  },
  {
    name: 'a request repeated',
    section: '2.3',
    says: 'A repeated request (same tag, same line) gets the same answer, and is not carried out a second time.',
    need: 'always',
    async run(trial: Trial) {
      await trial.hello();
      const tag = trial.talk.freshTag();
      const once = await trial.ask('sense', tag);
      trial.needOk(once);
      await trial.talk.wait(20); // so that a second measurement would have another time
      const again = await trial.ask('sense', tag);
      trial.expect(textOfAnswer(once) === textOfAnswer(again), [once, again]);

      const { own, other } = trial.ground.sets;
      const first = trial.talk.freshTag();
      const request = `stage model=${own.model} words=${own.words}`;
      await trial.get(request, first);
      await trial.stage(other);
      const repeat = await trial.ask(request, first);
      const look = await trial.ask('coefficients which=staged');
      trial.needOk(look);
      const wanted =
        'The second set is still the staged one: the repeat is answered and does nothing.';
      trial.expect(look.answer!.fields['crc']?.[0] === other.crc, [repeat, look], wanted);
    },
  },
  {
    name: 'eight requests remembered',
    section: '2.3',
    says: 'A board remembers the lines and answers of the latest eight tags of the conversation.',
    need: 'always',
    async run(trial: Trial) {
      await trial.hello();
      const tag = trial.talk.freshTag();
      const once = await trial.ask('sense', tag);
      trial.needOk(once);
      for (let i = 0; i < 7; i++) await trial.get('mode set=idle');
      const again = await trial.ask('sense', tag);
      const wanted =
        'The same answer as before: seven requests came since, so that it is one of the latest eight.';
      trial.expect(textOfAnswer(once) === textOfAnswer(again), [once, again], wanted);
    },
  },
  {
    name: 'a tag used for something else',
    section: '2.3',
    says: 'A remembered tag with another body is answered by error code=tag_reused, and nothing is done.',
    need: 'always',
    async run(trial: Trial) {
      const { own } = trial.ground.sets;
      await trial.hello();
      const tag = trial.talk.freshTag();
      await trial.get('mode set=idle', tag);
      const exchange = await trial.ask(`stage model=${own.model} words=${own.words}`, tag);
      trial.expectError(exchange, 'tag_reused');
      await trial.expectNothingStaged(exchange);
    },
  },
  {
    name: 'a repeat while the board is at work',
    section: '2.3',
    says: 'A board that is still at work on a line lets its repeat pass without a word; once it has answered, a repeat gets the same answer.',
    need: 'always',
    async run(trial: Trial) {
      await trial.hello();
      const { talk } = trial;
      const tag = talk.freshTag();
      const line = withCheck(`?${tag} sense`);
      const exchange = await talk.say(Uint8Array.from([...line, ...line]), {
        tag,
        verb: 'sense',
        answers: 2,
        cuts: [line.length],
        pause: Math.min(100, talk.captureMs / 3),
        ms: 2 * talk.captureMs + 2 * QUIET_MS,
      });
      const code = exchange.answer?.ok === false && exchange.answer.fields['code']?.[0];
      trial.need(code !== 'saturated' && code !== 'low_power', 'the board cannot measure now');
      const answers = exchange.came.filter(({ line }) => line?.kind === 'answer');
      const one = new Set(answers.map(({ text }) => text)).size === 1;
      trial.expect(one && exchange.answer?.ok === true, exchange);
    },
  },
  {
    name: 'the highest tag',
    section: '2.1',
    says: 'Tags go up to 999999 and start again at 1.',
    need: 'always',
    async run(trial: Trial) {
      await trial.hello();
      for (let i = 0; i < 8; i++) await trial.get('mode set=idle');
      trial.expectOk(await trial.ask('mode set=idle', 999_999));
      trial.expectOk(await trial.ask('mode set=idle', 1));
    },
  },
  {
    name: 'verbs nobody knows',
    section: '4',
    says: 'A verb that the board does not know is answered by error code=unknown_verb.',
    need: 'always',
    async run(trial: Trial) {
      await trial.hello();
      for (const verb of ['x', 'memorise', 'hello_again x=1', 'a_verb_of_a_later_version']) {
        trial.expectError(await trial.ask(verb), 'unknown_verb');
      }
    },
  },
  {
    name: 'fields nobody knows',
    section: '1.4',
    says: 'A receiver ignores fields that it does not know.',
    need: 'always',
    async run(trial: Trial) {
      await trial.hello();
      for (const request of [
        'memory x=',
        'memory colour=blue%2C%20green,7 y_2=%C3%BC',
        'mode hurry=1 set=idle',
      ]) {
        trial.expectOk(await trial.ask(request));
      }
      const body = `host=${trial.talk.freshHost()} bench=x protocol=1`;
      trial.expectOk(await trial.talk.hello(body));
    },
  },
  {
    name: 'fields in any order',
    section: '1.4',
    says: 'The order of fields has no meaning.',
    need: 'always',
    async run(trial: Trial) {
      trial.expectOk(await trial.talk.hello(`protocol=1 host=${trial.talk.freshHost()}`));
      const { own } = trial.ground.sets;
      const fields = trial.expectOk(await trial.ask(`stage words=${own.words} model=${own.model}`));
      trial.need(
        !fields || messageFault('stage', fields) === undefined,
        'stage was not answered rightly',
      );
    },
  },
];
