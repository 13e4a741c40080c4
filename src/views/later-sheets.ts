/** Views of sheets that the first picture of the page does not need: loaded once it is drawn. */
import './assembly-view.ts';
import './care-sheets.ts';
import './check-view.ts';
import './collecting-signals.ts';
import './collecting-view.ts';
import './conformance-view.ts';
import './fit-view.ts';
import './readings-view.ts';
import './site-view.ts';
import './step-help.ts';
import './wire-view.ts';
