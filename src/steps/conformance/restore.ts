import type { StoredSet } from '../../protocol/board.ts';
import { checkOf, encodeItem, type Fields } from '../../protocol/line.ts';
import { readSet } from './fields-of.ts';
import { memoryOf, stagedSet, type Check, type Ground, type Ledger } from './trial.ts';

/** Putting a board back as it was found, and saying what is so where that was not possible. */

/** How the board was left. */
export interface Left {
  /** Nothing is known to be otherwise than it was found, but for the number of the generation. */
  asFound: boolean;
  /** What is so, and what to do, sentence by sentence. */
  words: readonly string[];
  /** Lines that put it right, to be sent in this order over any terminal; empty where nothing need be done. */
  lines: readonly string[];
}

/** What was changed and could not be put back, for another conversation to do it. */
export interface Owing {
  ledger: Ledger;
  /** The set that must be in force in the end. */
  right?: StoredSet;
}

export class Restorer {
  constructor(
    private readonly ground: Ground,
    private readonly setsFrom: (base: StoredSet) => Ground['sets'],
  ) {}

  /** Puts back what a check has changed, or may have. */
  async after(check: Check): Promise<void> {
    const { ledger } = this.ground;
    // what stands in the memory over a restart is looked at by the checks after it
    if (ledger.readings && check.need !== 'restart') await this.#eraseOwn();
    if (ledger.firstSealed && !this.ground.right) {
      const inForce = await this.#set('in_force');
      if (inForce) this.ground.right = inForce;
      if (inForce) this.ground.sets = this.setsFrom(inForce);
    }
    if (ledger.renamed) await this.#renameBack();
    if (ledger.setting) await this.#changeBack(ledger.setting);
    if (ledger.sealed) await this.#putBack();
  }

  /** Puts back everything, looks what is so, and says it. The link must be open. */
  async finish(): Promise<Left> {
    const { ledger, found, talk } = this.ground;
    await talk.hello();
    if (ledger.readings) await this.#eraseOwn();
    if (ledger.renamed) await this.#renameBack();
    if (ledger.setting) await this.#changeBack(ledger.setting);
    if (ledger.sealed) await this.#putBack();
    if (ledger.displaced && found.previous) await this.#putPreviousBack(found.previous);
    await talk.hello();
    return this.#state();
  }

  /**
   * What another conversation can put back; nothing where there is nothing. Readings are not among it: until then others
   * may lie beside them.
   */
  owing(): Owing | undefined {
    const { ledger, right } = this.ground;
    const { sealed, displaced, renamed, setting } = ledger;
    if (!((right && (sealed || displaced)) || renamed || setting)) return undefined;
    return { ledger: { ...ledger, readings: false }, ...(right && { right }) };
  }

  /** The link is gone, or the board silent: what may be so, and what to do about it. */
  stateUnknown(): Left {
    const { ledger, found, right } = this.ground;
    const words: string[] = [];
    const requests: string[] = [];
    if (ledger.readings) {
      words.push(
        'Its memory was empty; readings of this check may be in it now. Ask memory, and erase them through the last it names.',
      );
      requests.push('memory');
    }
    if (ledger.sealed && right) {
      words.push(
        `The set in force may be another than was found: most likely this check’s own, which is the same turned one degree about the sight, so that azimuth and inclination are as before and roll is one degree off. Ask coefficients which=in_force: if its crc is ${right.crc}, the right one is in force; if not, revert, naming the generation it says, brings the right one back; so does this program’s command “revert”.`,
      );
      requests.push('coefficients which=in_force', `revert replaces=${right.generation + 1}`);
    }
    if (ledger.renamed) {
      const name = found.hello['name']?.[0] ?? '';
      words.push(`Its name may be another than it was, which was ${named(name)}.`);
      requests.push(renaming(name));
    }
    if (ledger.setting) words.push(settingWords(ledger.setting));
    if (ledger.displaced && found.previous && right) {
      words.push(
        `The previous set (crc ${found.previous.crc}) may have been displaced; its words are in this report, and can be staged and sealed again.`,
      );
    }
    if (ledger.firstSealed) words.push(right ? FIRST_SEALED : FIRST_SEALED_PERHAPS);
    const asFound = words.length === 0;
    if (asFound) {
      words.push(
        'Nothing that it keeps was changed. A restart, or the next hello, clears the rest.',
      );
    }
    const lines = requests.length === 0 ? [] : ['hello host=00000001 protocol=1', ...requests];
    return { asFound, words, lines: lines.map((line, i) => lineOf(`?${i + 1} ${line}`)) };
  }

  /** The memory was empty: all that is in it now is these checks' own. */
  async #eraseOwn(): Promise<void> {
    const { talk, ledger } = this.ground;
    await talk.hello();
    const { count, last } = memoryOf(await this.#fields('memory'));
    if (count > 0) await talk.ask(`erase through=${last}`);
    ledger.readings = memoryOf(await this.#fields('memory')).count > 0;
  }

  async #renameBack(): Promise<void> {
    const { talk, ledger, found } = this.ground;
    const name = found.hello['name']?.[0] ?? '';
    if ((await this.#nameNow()) !== name) await talk.ask(renaming(name));
    ledger.renamed = (await this.#nameNow()) !== name;
  }

  async #nameNow(): Promise<string> {
    const { answer } = await this.ground.talk.hello();
    return answer?.fields['name']?.[0] ?? '';
  }

  async #changeBack({ name, value }: NonNullable<Ledger['setting']>): Promise<void> {
    const { talk, ledger } = this.ground;
    await talk.hello();
    if ((await this.#settingNow(name)) !== value) {
      ledger.revised = true;
      const revision = (await this.#fields('settings'))['revision']?.[0];
      await talk.ask(`change name=${name} value=${encodeItem(value)}`);
      await talk.ask(`adopt replaces=${revision}`);
      await talk.hello();
    }
    if ((await this.#settingNow(name)) === value) delete ledger.setting;
  }

  async #settingNow(name: string): Promise<string | undefined> {
    const count = Number((await this.#fields('settings'))['count']?.[0]) || 0;
    for (let at = 1; at <= Math.min(count, 99); at++) {
      const fields = await this.#fields(`setting at=${at}`);
      if (fields['name']?.[0] === name) return fields['value']?.[0];
    }
    return undefined;
  }

  /** Has the right set in force again, by going back to it or, where that fails, by sealing it anew. */
  async #putBack(): Promise<void> {
    const { talk, ledger, right } = this.ground;
    if (!right) return;
    await talk.hello();
    let inForce = await this.#set('in_force');
    if (inForce && inForce.crc !== right.crc) {
      ledger.displaced = true;
      const previous = await this.#set('previous');
      if (previous?.crc === right.crc) await talk.ask(`revert replaces=${inForce.generation}`);
      else await this.#seal(right, inForce.generation);
      inForce = await this.#set('in_force');
    }
    if (inForce?.crc !== right.crc) return; // said in the end, as it is then
    this.ground.right = { ...right, generation: inForce.generation };
    ledger.sealed = false;
  }

  /** The set that was the previous one is sealed and reverted, so that it is the previous one again. */
  async #putPreviousBack(wanted: StoredSet): Promise<void> {
    const { talk, ledger, right } = this.ground;
    if ((await this.#set('previous'))?.crc === wanted.crc || !right) return;
    ledger.sealed = true;
    await this.#seal(wanted, right.generation);
    await this.#putBack();
    await talk.hello();
  }

  async #seal({ model, values }: StoredSet, replaces: number): Promise<void> {
    const { talk } = this.ground;
    const { words, crc } = stagedSet(model, values);
    await talk.ask(`stage model=${model} words=${words}`);
    await talk.ask(`check crc=${crc}`);
    await talk.ask(`seal replaces=${replaces} crc=${crc}`);
  }

  async #fields(request: string): Promise<Fields> {
    const { answer } = await this.ground.talk.ask(request);
    return answer?.ok ? answer.fields : {};
  }

  async #set(which: 'in_force' | 'previous'): Promise<StoredSet | undefined> {
    return readSet(await this.#fields(`coefficients which=${which}`));
  }

  async #state(): Promise<Left> {
    const { found, ledger, right } = this.ground;
    const words: string[] = [];
    const requests: string[] = [];
    let asFound = true;
    const memory = memoryOf(await this.#fields('memory'));
    if (found.memory && memory.count !== found.memory.count) {
      asFound = false;
      words.push(`Its memory held ${found.memory.count} readings and holds ${memory.count} now.`);
      if (found.memory.count === 0) requests.push(`erase through=${memory.last}`);
    }
    const inForce = await this.#set('in_force');
    const previous = await this.#set('previous');
    const wanted = found.inForce ?? right;
    if (wanted && inForce?.crc !== wanted.crc) {
      asFound = false;
      words.push(
        `In force is generation ${inForce?.generation ?? 'unknown'}, crc ${inForce?.crc ?? 'unknown'}, and not the set that was found (crc ${wanted.crc}): it could not be put back. Its words are in this report.`,
      );
      if (inForce) requests.push(`revert replaces=${inForce.generation}`);
    } else if (found.inForce && inForce && inForce.generation !== found.generation) {
      words.push(
        `The set that was found in force is in force; it was generation ${found.generation} and is generation ${inForce.generation} now.`,
      );
    }
    if (found.previous && previous?.crc !== found.previous.crc) {
      asFound = false;
      words.push(
        `The previous set is not the one that was found (crc ${found.previous.crc}); its words are in this report.`,
      );
    } else if (!found.previous && found.inForce && previous) {
      words.push(
        'There was no previous set; now it is the one in force turned one degree about the sight, which measures the same azimuth and inclination.',
      );
    }
    if (ledger.renamed) {
      asFound = false;
      words.push(
        `Its name was ${named(found.hello['name']?.[0] ?? '')}, and could not be put back.`,
      );
    }
    if (ledger.setting) {
      asFound = false;
      words.push(settingWords(ledger.setting));
    } else if (ledger.revised) {
      words.push('Its settings are as they were; their revision has gone up.');
    }
    if (ledger.firstSealed && inForce) words.push(FIRST_SEALED);
    if (words.length === 0) words.push('The board is as it was found.');
    const lines = requests.length === 0 ? [] : ['hello host=00000001 protocol=1', ...requests];
    return { asFound, words, lines: lines.map((line, i) => lineOf(`?${i + 1} ${line}`)) };
  }
}

const renaming = (name: string): string => `rename to=${encodeItem(name)}`;

const named = (name: string): string => (name === '' ? 'none' : `“${name}”`);

const settingWords = ({ name, value }: NonNullable<Ledger['setting']>): string =>
  `The setting ${name} may be another than it was, which was ${named(value)}: change it back, then adopt.`;

const FIRST_SEALED =
  'No set was ever sealed on it before: a first one is now, made of the scales and mountings it declares. It corrects nothing; calibrate it.';

const FIRST_SEALED_PERHAPS =
  'No set was ever sealed on it before: a first one may be now, made of the scales and mountings it declares. Ask coefficients which=in_force: if it answers with a set, that one is in force. It corrects nothing; calibrate the board.';

const lineOf = (body: string): string => `${body} #${checkOf(body)}`;
