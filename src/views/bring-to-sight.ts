import type { PlaceState } from '../steps/place-state.ts';

/** What came out of a piece of work, each with where the page shows it: it may be off a phone's screen. */
const OUTCOMES: readonly { where: string; of(state: PlaceState): unknown }[] = [
  { where: '.trouble', of: ({ trouble }) => trouble },
  { where: 'proof-view', of: ({ history }) => history.calibration?.proof?.readings[0] },
  { where: 'sealing-view', of: ({ history }) => history.calibration?.sealed?.time },
  { where: 'judgement-view', of: ({ history }) => history.calibration?.fit?.id },
  {
    where: 'judgement-view',
    of: ({ history: { calibration } }) =>
      calibration?.refusal && !calibration.refusal.stale && calibration.refusal.message,
  },
];

/** Where the page shows what is new in a state, as a selector; undefined where nothing came out. */
export function newOutcome(before: PlaceState, now: PlaceState): string | undefined {
  if (before === now) return undefined;
  const sameBoard = before.history.identity?.serial === now.history.identity?.serial;
  return OUTCOMES.find(({ where, of }) => {
    const outcome = of(now);
    return outcome && outcome !== of(before) && (sameBoard || where === '.trouble');
  })?.where;
}

/** Scrolls what is shown there into sight, unless its beginning is in sight already. */
export function bringToSight(page: ParentNode, where: string): void {
  const found = page.querySelector(where);
  const target = found?.closest('details') ?? found;
  if (!target) return;
  const { top, bottom } = target.getBoundingClientRect();
  const seen = top >= 0 && (bottom <= innerHeight || top < innerHeight / 3);
  if (!seen) target.scrollIntoView({ block: where === '.trouble' ? 'nearest' : 'start' });
}

/** Opens the sheet that shows it, and brings the person there. */
export function leadTo(page: ParentNode, where: string): void {
  const sheet = page.querySelector(where)?.closest('details');
  if (!sheet) return;
  sheet.open = true;
  sheet.scrollIntoView({ block: 'start' });
  sheet.querySelector('summary')?.focus({ preventScroll: true });
}
