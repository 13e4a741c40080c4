import { readFileSync } from 'node:fs';

/**
 * Every address that a whole browser asked for, over any protocol and from whichever page or worker, and every host it
 * looked up: Chromium's own record, which it writes with `--log-net-log=PATH`. What Chromium asks for by itself, whatever
 * page it shows, is left out.
 *
 * @param path of the record, whole once the browser is closed
 */
export function addressesAsked(path: string): { requests: string[]; lookups: string[] } {
  const { constants, events } = JSON.parse(readFileSync(path, 'utf8')) as NetLog;
  const params = (name: string) => {
    const type = constants.logEventTypes[name];
    if (type === undefined) throw new Error(`this Chromium records no ${name}`);
    return events.flatMap((event) => (event.type === type && event.params ? [event.params] : []));
  };
  const requests = params('URL_REQUEST_START_JOB').flatMap(({ url, initiator }) =>
    url === undefined || (initiator === NO_PAGE && OWN.test(url)) ? [] : [url],
  );
  const lookups = params('HOST_RESOLVER_MANAGER_REQUEST').flatMap(({ host }) =>
    host === undefined || OWN.test(`${host}/`) ? [] : [host],
  );
  return { requests: [...new Set(requests)], lookups: [...new Set(lookups)] };
}

/** Who asked, where it was no page and no worker. */
const NO_PAGE = 'not an origin';
/** Chromium asks its maker of its own accord: for newer versions, the time, accounts, help in filling in forms. */
const OWN = /^https?:\/\/[a-z0-9-]+\.(googleapis|google)\.com\//;

interface NetLog {
  constants: { logEventTypes: Record<string, number> };
  events: { type: number; params?: { url?: string; initiator?: string; host?: string } }[];
}
