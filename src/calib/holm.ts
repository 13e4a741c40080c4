/**
 * p-values adjusted for being many, after Holm 1979, A simple sequentially rejective multiple test procedure, Scand. J.
 * Statist. 6: where those at or under a level are taken as findings, the chance of any false finding among all of them is
 * at most that level, however the tests hang together.
 *
 * @returns in the order given
 */
export function holmAdjusted(p: readonly number[]): number[] {
  const order = p.map((_, i) => i).sort((a, b) => p[a] - p[b]);
  const adjusted = new Array<number>(p.length);
  let most = 0;
  order.forEach((i, rank) => {
    most = Math.max(most, Math.min(1, (p.length - rank) * p[i]));
    adjusted[i] = most;
  });
  return adjusted;
}
