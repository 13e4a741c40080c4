/** Opening a browser database that has a history. */

/** Brings a database one version further; what it leads to lies in people's browsers, so it is never changed later. */
export type Upgrade = (database: IDBDatabase, transaction: IDBTransaction) => void;

/** Another connection holds the database open in an older version and does not let go. */
export class Blocked extends Error {
  override readonly name = 'Blocked';
}

/**
 * Opens a database in the newest version that `upgrades` leads to, making it, or bringing an older one up to it: step n
 * goes from version n to n + 1, all in one transaction. Rejects with {@link Blocked}, or with the DOMException of the
 * database: `VersionError` where it is from a newer version, and then it is left untouched.
 */
export function openDatabase(
  factory: IDBFactory,
  name: string,
  upgrades: readonly Upgrade[],
): Promise<IDBDatabase> {
  return new Promise((resolve, reject) => {
    const request = factory.open(name, upgrades.length);
    let late = false;
    request.onupgradeneeded = ({ oldVersion }) => {
      const transaction = request.transaction!; // there is one while upgrading
      if (late) return transaction.abort(); // nobody waits for it any more
      for (const upgrade of upgrades.slice(oldVersion)) upgrade(request.result, transaction);
    };
    request.onblocked = () => {
      late = true;
      reject(new Blocked('another connection holds an older version open'));
    };
    request.onerror = () => reject(request.error);
    request.onsuccess = () => resolve(request.result);
  });
}
