import { html, nothing } from 'lit';
import { customElement, property, state } from 'lit/decorators.js';

import type { Bench } from '../steps/bench.ts';
import { reportFile, reportOf, type CalibrationReport } from '../steps/calibration-report.ts';
import type { StoredEntry } from '../steps/logbook/logbook-desk.ts';
import {
  cut,
  checkRows,
  cutList,
  headFacts,
  isDense,
  momentWords,
  proofRows,
  reportTitle,
  reportVerdict,
  resultRows,
  sealFacts,
  setAsideLines,
  sinceLines,
  truthRows,
  upperFirst,
} from '../steps/report-words.ts';
import type { Finding } from '../steps/finding.ts';
import { limitsFor } from '../steps/tolerance.ts';
import { factList } from './fact-list.ts';
import { boardAddress } from './page-part.ts';
import './printed.css';
import './report-page.css';
import { attitudesPlot, misfitPlot, spreadPlot } from './report-plots.ts';
import { saveFile } from './save-file.ts';
import { shape } from './shapes.ts';
import { View } from './view.ts';

/** The report of one calibration, to be printed on two pages. It is of the logbook alone: no board need be linked. */
@customElement('report-page')
export class ReportPage extends View {
  @property({ attribute: false }) bench!: Bench;
  @property() serial!: string;
  @property() calibration!: string;
  /** Version of Lodebench. */
  @property() program!: string;
  @state() private saved = '';
  #of:
    | {
        entries: readonly StoredEntry[];
        calibration: string;
        report: CalibrationReport | undefined;
      }
    | undefined;

  protected override follows() {
    return [this.bench.logbook];
  }

  /** Made once for the same entries. */
  #report(entries: readonly StoredEntry[]): CalibrationReport | undefined {
    const { calibration, program } = this;
    if (this.#of?.entries !== entries || this.#of.calibration !== calibration) {
      const written = this.bench.logbook.now().toISOString();
      const report = reportOf(entries, calibration, { program, written });
      this.#of = { entries, calibration, report };
    }
    return this.#of.report;
  }

  protected override render() {
    const { opened, trouble } = this.bench.logbook.state;
    const entries = opened?.serial === this.serial ? opened.entries : undefined;
    const report = entries && this.#report(entries);
    return html`
      <nav class="report-ways" aria-label="Ways from the report">
        <a class="way-back" href="#bench">Back to the bench</a>
        <a class="way-back" href=${boardAddress(this.serial)}>All of this board</a>
      </nav>
      ${
        report
          ? this.#whole(report)
          : html`<h2 id="logbook-heading" tabindex="-1">Calibration report</h2>
              <p role="status">${trouble ?? (entries ? MISSING : 'Reading the logbook…')}</p>`
      }
    `;
  }

  #whole(report: CalibrationReport) {
    const { result, judgement } = report;
    const { standing, words } = reportVerdict(report);
    return html`
      <div class="report-offers">
        <div class="offers">
          <button type="button" class="main" @click=${() => print()}>Print or save as PDF</button>
          <button
            type="button"
            @click=${() => {
              this.saved = saveFile(reportFile(report));
            }}
          >
            Save the machine-readable copy
          </button>
        </div>
        <p class="note">
          Two pages at most, A4 or US Letter. The copy is JSON, and has every reading’s figures too.
        </p>
        <p role="status">${this.saved}</p>
      </div>
      <article class="report ${isDense(report) ? 'dense' : ''}" aria-labelledby="logbook-heading">
        <h2 id="logbook-heading" tabindex="-1">
          Calibration report: ${cut(reportTitle(report), 80)}
        </h2>
        <div class="verdict ${standing}">
          ${shape(standing)}
          <p>${cut(words, 420)}</p>
        </div>
        ${this.#list(cutList(report.notes, 5, OURS), 'report-notes')}
        ${factList(headFacts(report), 'report-facts')}
        ${this.#part('Readings set aside', this.#list(setAsideLines(report)))}
        ${
          report.refusal
            ? this.#part('What to do', html`<p>${cut(report.refusal.next, 400)}</p>`)
            : nothing
        }
        ${result && judgement ? this.#result(report, result) : nothing} ${this.#before(report)}
        ${result ? this.#part('On the board', factList(sealFacts(report), 'report-facts')) : nothing}
        ${this.#proof(report)} ${this.#checks(report)}
        <div class="report-pair">
          ${this.#part('Valid for', this.#list(cutList(report.validFor.map(upperFirst), 7, OURS)))}
          ${this.#part('Not valid for', this.#list(cutList(report.notValidFor.map(upperFirst), 12, OURS)))}
        </div>
        ${this.#part('What happened since', this.#list(sinceLines(report)))}
        ${this.#part('What these figures cannot see', this.#list(cutList(report.blindTo.map(upperFirst), 7, OURS)))}
        <p class="report-caution">${report.caution}</p>
        <div class="report-sign">
          <p>Done by</p>
          <p>Signature</p>
          <p>Date</p>
        </div>
        <p class="report-foot">
          Lodebench ${report.program}, written ${momentWords(report.written)}. Calibration
          ${cut(report.calibration, 100)}${result ? html`, check of the coefficients (CRC-32) ${result.crc}` : nothing}.
        </p>
      </article>
    `;
  }

  #result(report: CalibrationReport, result: NonNullable<CalibrationReport['result']>) {
    const { notKnown, warnings } = report.judgement!;
    return html`${this.#part('Result', this.#figures(resultRows(report)))}
      <div class="report-plots">
        ${misfitPlot(result.readings)}
        ${spreadPlot(result.sightings, limitsFor(report.tolerance).spread)}
        ${attitudesPlot(result.readings)}
      </div>
      ${this.#part('What is not known', this.#list(cutList(notKnown.map(upperFirst), 3, OURS)))}
      ${this.#part('Warnings', this.#list(cutList(warnings, 3, 110)))}`;
  }

  #before({ before, result }: CalibrationReport) {
    if (!result) return nothing;
    return this.#part(
      'On the board before, and what changed',
      before
        ? html`<p>${before.lead}</p>
            ${factList(before.changes, 'report-facts')}`
        : html`<p>No coefficients of the board before are known.</p>`,
    );
  }

  #proof({ proof, result }: CalibrationReport) {
    if (!proof) {
      return result ? this.#part('Proof', html`<p>None has been taken yet.</p>`) : nothing;
    }
    const { passed, readings, generation, failedBefore, warnings } = proof;
    const before =
      failedBefore === 0
        ? ''
        : ` ${failedBefore === 1 ? 'A proof' : `${failedBefore} proofs`} before it did not pass.`;
    return this.#part(
      'Proof',
      html`<p>
          ${passed ? 'Passed' : 'Not passed'}, over ${readings} fresh readings of generation
          ${generation} that no fit ever saw.${before}
        </p>
        ${this.#figures(proofRows(proof), 'report-short')} ${this.#figures(truthRows(proof))}
        ${this.#list(cutList(warnings, 2, 110))}`,
    );
  }

  #checks(report: CalibrationReport) {
    const rows = checkRows(report);
    if (!report.result) return nothing;
    return this.#part(
      'Checks in the field',
      rows.length === 0 ? html`<p>None of these coefficients was taken.</p>` : this.#figures(rows),
    );
  }

  #part(title: string, content: unknown) {
    return content === nothing
      ? nothing
      : html`<section>
          <h3>${title}</h3>
          ${content}
        </section>`;
  }

  #list(lines: readonly string[], kind = '') {
    return lines.length === 0
      ? nothing
      : html`<ul class=${kind}>
          ${lines.map((line) => html`<li>${line}</li>`)}
        </ul>`;
  }

  #figures(rows: readonly Finding[], kind = '') {
    if (rows.length === 0) return nothing;
    return html`<ul class="report-figures ${kind}">
      ${rows.map(
        ({ name, figure, words, standing }) =>
          html`<li>
            ${shape(standing)}
            <p class="report-name">${name}<span class="unseen">, ${STANDING[standing]}</span></p>
            <p class="report-figure">${figure}</p>
            <p class="report-words">${words}</p>
          </li>`,
      )}
    </ul>`;
  }
}

/** Characters of a line that this program itself wrote: none of them is longer. */
const OURS = 260;

const MISSING =
  'The logbook has no calibration of that name. It may be in the logbook of another bench: bring it in from there.';

const STANDING = { good: 'within tolerance', watch: 'look at this', bad: 'out of tolerance' };

declare global {
  interface HTMLElementTagNameMap {
    'report-page': ReportPage;
  }
}
