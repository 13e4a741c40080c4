import { NewerVersion } from './steps/newer-version.ts';

/** The page as the browser keeps it: all its files, so that it needs no server, and newer versions of them. */

/** Held by every page of ours, and by those that are in the midst of something. */
const PAGE = 'lodebench page';
const BUSY = 'lodebench at work';
/** Held by the page that has the bench, as src/main.ts takes it. */
const BENCH = 'lodebench';

/** So long the page that has the bench may take to be loaded anew, in milliseconds; and how often it is looked for. */
const COMING_BACK = 10_000;
const LOOKING = 100;

/** At most so often a page that is seen again asks for a newer version, milliseconds. */
const ASK_AGAIN = 3_600_000;

/**
 * Lets the browser keep the page, where it can and the page is a built one.
 *
 * @returns the version of this page, and newer ones as they come
 */
export function installApp(): NewerVersion {
  const { serviceWorker, locks } = navigator;
  const current = document.querySelector<HTMLMetaElement>('meta[name=version]')?.content ?? '';
  // a development server gives the page none
  const manifest = document.querySelector<HTMLLinkElement>('link[rel=manifest]');
  let registration: ServiceWorkerRegistration | undefined;
  const between = locks && betweenPages(locks, () => void newer.look());
  const newer: NewerVersion = new NewerVersion({
    current,
    setBusy: (busy) => between?.setBusy(busy),
    others: async () => between?.others() ?? { pages: 0, busy: 0 },
    take: () => registration?.waiting?.postMessage({ type: 'SKIP_WAITING' }),
    reload: () => {
      void between?.letHolderGoFirst().then(() => location.reload());
    },
  });
  // the browser itself changes versions when all pages are closed, and must where pages cannot ask each other
  if (!manifest || !serviceWorker || !between) return newer;

  let wasKept = serviceWorker.controller !== null;
  serviceWorker.addEventListener('controllerchange', () => {
    if (wasKept) newer.taken();
    wasKept = true; // the first time it only begins to be kept
  });
  const registered = (now: ServiceWorkerRegistration) => {
    registration = now;
    const look = () => {
      if (now.waiting && now.active) newer.found();
    };
    look();
    now.addEventListener('updatefound', () =>
      now.installing?.addEventListener('statechange', look),
    );
    let asked = Date.now();
    document.addEventListener('visibilitychange', () => {
      if (document.visibilityState === 'hidden') return;
      void newer.look();
      if (Date.now() - asked < ASK_AGAIN) return;
      asked = Date.now();
      now.update().catch(() => {}); // no network, and none is needed
    });
  };
  serviceWorker
    .register(new URL('sw.js', manifest.href), { updateViaCache: 'none' })
    .then(registered, (error: unknown) => console.warn('The page cannot be kept here:', error));
  return newer;
}

/**
 * What pages of this origin know of each other.
 *
 * @param changed called when any of them, this one too, begins something or has ended it
 */
function betweenPages(locks: LockManager, changed: () => void) {
  const channel = new BroadcastChannel(PAGE);
  channel.addEventListener('message', changed);
  const tell = () => {
    channel.postMessage('');
    changed();
  };
  const hold = (name: string, until: Promise<void>) =>
    locks.request(name, { mode: 'shared' }, () => {
      tell();
      return until;
    });
  const mine = `${PAGE} ${crypto.randomUUID()}`;
  void hold(mine, new Promise(() => {}));
  const clientWith = async (name: string, mode: LockMode) =>
    (await locks.query()).held?.find((lock) => lock.name === name && lock.mode === mode)?.clientId;
  const withBench = () => clientWith(BENCH, 'exclusive'); // pages that wait for it share it for a moment
  let end = () => {};
  return {
    setBusy(busy: boolean): void {
      end();
      if (!busy) return;
      const until = new Promise<void>((resolve) => (end = resolve));
      void hold(BUSY, until).then(tell);
    },
    /** Asked while this page is in the midst of nothing. */
    async others() {
      const { held = [] } = await locks.query();
      const names = held.map(({ name = '' }) => name);
      return {
        pages: names.filter((name) => name.startsWith(`${PAGE} `)).length - 1,
        busy: names.filter((name) => name === BUSY).length,
      };
    },
    /** Where all pages are loaded anew at once, the one that had the bench is to have it again. */
    async letHolderGoFirst(): Promise<void> {
      const [holder, self] = await Promise.all([withBench(), clientWith(mine, 'shared')]);
      if (holder === undefined || holder === self) return;
      for (let waited = 0; waited < COMING_BACK; waited += LOOKING) {
        await new Promise((resolve) => setTimeout(resolve, LOOKING));
        const now = await withBench();
        if (now !== undefined && now !== holder) return;
      }
    },
  };
}
