/** A copy that lacks the named fields. */
export function without<T extends object, K extends keyof T>(object: T, ...names: K[]): Omit<T, K> {
  const copy = { ...object };
  for (const name of names) delete copy[name];
  return copy;
}
