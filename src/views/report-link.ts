import { html } from 'lit';
import { reportAddress } from './page-part.ts';

/** Where the report of a calibration is, on a line of its own. @param when tells it from others in a list */
export const reportLink = (serial: string, calibration: string, when?: string) =>
  html`<p>
    <a class="report-link" href=${reportAddress(serial, calibration)}
      >Report of this calibration, to
      print${when ? html`<span class="unseen">, ${when}</span>` : ''}</a
    >
  </p>`;
