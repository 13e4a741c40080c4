import { html, nothing } from 'lit';
import { customElement, property, state } from 'lit/decorators.js';
import type { Bench } from '../steps/bench.ts';
import { messageOf } from '../steps/bench-words.ts';
import {
  LONGEST_REMARK,
  remarkEntry,
  REMARK_KINDS,
  type RemarkKind,
} from '../steps/logbook/remarks.ts';
import { dayOf } from '../steps/time-words.ts';
import { View } from './view.ts';

/** Where a person writes down what happened to a board. */
@customElement('remark-form')
export class RemarkForm extends View {
  @property({ attribute: false }) bench!: Bench;
  @property() serial!: string;
  @state() private said = '';
  @state() private isFault = false;

  protected override render() {
    return html`<form class="remark" @submit=${this.#write}>
      <fieldset>
        <legend>What happened</legend>
        <div class="kinds">
          ${(Object.entries(REMARK_KINDS) as [RemarkKind, string][]).map(
            ([kind, words], i) =>
              html`<label class="choice"
                ><input type="radio" name="kind" value=${kind} ?checked=${i === 0} />
                ${words}</label
              >`,
          )}
        </div>
        <div class="fields">
          <label class="field">
            In your words
            <input type="text" name="text" maxlength=${LONGEST_REMARK} autocomplete="off" />
          </label>
          <label class="field">
            On which day, if not today
            <input type="date" name="on" max=${dayOf(this.bench.logbook.now())} />
          </label>
        </div>
        <p class="offers"><button type="submit">Write it down</button></p>
      </fieldset>
      <p role="status">${this.isFault ? nothing : this.said}</p>
      <p role="alert">${this.isFault ? this.said : nothing}</p>
    </form>`;
  }

  #write = async (event: SubmitEvent) => {
    event.preventDefault();
    const form = event.target as HTMLFormElement;
    const given = new FormData(form);
    const text = (name: string) => String(given.get(name) ?? '');
    const entry = remarkEntry(
      this.serial,
      { kind: text('kind') as RemarkKind, text: text('text'), on: text('on') },
      this.bench.logbook.now(),
      Math.random(),
    );
    if ('fault' in entry) return this.#say(entry.fault, true);
    try {
      await this.bench.record(this.serial, entry);
      await this.bench.logbook.refresh();
      form.reset();
      this.#say('Written down.', false);
    } catch (error) {
      this.#say(messageOf(error), true);
    }
  };

  #say(words: string, isFault: boolean) {
    this.said = words;
    this.isFault = isFault;
  }
}
