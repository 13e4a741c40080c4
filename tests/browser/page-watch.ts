import type { BrowserContext } from 'playwright-core';

/**
 * What happened in a page, told at once to the test outside of it, which outlives it: what the screen shows, and every
 * write to the database as it begins and as the database says that it is done. It only listens.
 */
export type PageEvent =
  | ({ what: 'shown' } & Shown)
  | { what: 'write begun'; write: number }
  /** `entries`: those that it added, each as JSON. */
  | { what: 'write done'; write: number; entries: readonly string[] };

/** What stands on the screen. */
export interface Shown {
  /** The readings one by one, in the order of their taking. */
  readings: readonly { id: string; line: string; aside: boolean }[];
  /** What was said last. */
  said: string;
}

declare global {
  var tellWatcher: ((event: PageEvent) => void) | undefined;
  /** Every worker that the page has started. */
  var startedWorkers: Worker[];
}

/** Tells of whatever happens in any page that this context opens from now on. */
export async function watchPages(
  context: BrowserContext,
  heard: (event: PageEvent) => void,
): Promise<void> {
  await context.exposeBinding('tellWatcher', (_, event: PageEvent) => heard(event));
  await context.addInitScript(watch);
}

/** Runs in the page, before anything of the app. */
function watch(): void {
  let before = '';
  new MutationObserver(() => {
    const rows = [...document.querySelectorAll('table.readings tbody tr')].reverse();
    const readings = rows.map((row) => ({
      id: row.querySelector('th')?.textContent.trim() ?? '',
      line: row.querySelector('.line')?.textContent.trim() ?? '',
      aside: row.classList.contains('aside'),
    }));
    const said = document.querySelector('next-card .said')?.textContent.trim() ?? '';
    const now = JSON.stringify({ readings, said });
    if (now === before) return;
    before = now;
    globalThis.tellWatcher?.({ what: 'shown', readings, said });
  }).observe(document, {
    subtree: true,
    childList: true,
    characterData: true,
    attributeFilter: ['class'],
  });

  globalThis.startedWorkers = [];
  globalThis.Worker = class extends Worker {
    constructor(...how: ConstructorParameters<typeof Worker>) {
      super(...how);
      startedWorkers.push(this);
    }
  };

  let latest = 0;
  const added = new WeakMap<IDBTransaction, string[]>();
  const { transaction } = IDBDatabase.prototype;
  IDBDatabase.prototype.transaction = function (...how) {
    const begun = transaction.apply(this, how);
    if (how[1] !== 'readwrite') return begun;
    const write = ++latest;
    const entries: string[] = [];
    added.set(begun, entries);
    globalThis.tellWatcher?.({ what: 'write begun', write });
    begun.addEventListener('complete', () =>
      globalThis.tellWatcher?.({ what: 'write done', write, entries }),
    );
    return begun;
  };
  const { add } = IDBObjectStore.prototype;
  IDBObjectStore.prototype.add = function (value, key) {
    if (this.name === 'entries') added.get(this.transaction)?.push(JSON.stringify(value));
    return key === undefined ? add.call(this, value) : add.call(this, value, key);
  };
}
