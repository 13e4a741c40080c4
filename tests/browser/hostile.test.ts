import type { Browser, Page, Request } from 'playwright-core';
import { afterAll, beforeAll, expect, inject, it } from 'vitest';
import { SocketServer } from '../../sim/socket-server.ts';
import { formatImage } from '../../src/protocol/firmware-image.ts';
import { FOREIGN, HOSTILE_BOARDS, HOSTILE_LETTERS, HOSTILE_TEXTS } from '../hostile-texts.ts';
import { launch } from './chromium.ts';
import { HostileBoard } from './hostile-board.ts';
import { openPage } from './page.ts';

const LONG = { timeout: 10_000 };

let browser: Browser;
beforeAll(async () => {
  browser = await launch();
});
afterAll(() => browser?.close());

/** A page in which whatever a hostile text brings about is written down. */
async function watchedPage() {
  const { page, complaints } = await openPage(browser, { width: 390, height: 844 });
  const { origin } = new URL(inject('appUrl'));
  const struck: string[] = [];
  const left = (request: Request) => {
    const { protocol, origin: to } = new URL(request.url());
    const wasHeld = request.failure()?.errorText === 'csp'; // the policy let it go nowhere, and complained
    if (protocol !== 'blob:' && to !== origin && !wasHeld) struck.push(request.url());
  };
  page.on('requestfinished', left);
  page.on('requestfailed', left);
  page.on('dialog', (dialog) => struck.push(dialog.message()));
  await page.exposeFunction('strike', (what: string) => void struck.push(what));
  await page.addInitScript((foreign) => {
    const { strike } = globalThis as unknown as { strike(what: string): void };
    Object.assign(globalThis, { hit: () => strike('a script ran') });
    const look = (node: Node) => {
      if (!(node instanceof Element)) return;
      const all = [node, ...node.querySelectorAll('*')];
      for (const each of all) {
        if (each.matches(foreign)) strike(each.outerHTML);
        const handlers = each.getAttributeNames().filter((name) => name.startsWith('on'));
        if (handlers.length > 0) strike(each.outerHTML);
      }
    };
    new MutationObserver((changes) => {
      for (const { addedNodes, target } of changes) [target, ...addedNodes].forEach(look);
    }).observe(document, { childList: true, subtree: true, attributes: true });
  }, FOREIGN);
  const button = (name: string | RegExp) => page.getByRole('button', { name, exact: true });
  const idle = () => page.locator('progress').waitFor({ state: 'detached', ...LONG });
  return { page, complaints, struck, button, idle };
}

/** Opens everything that is closed, and sees that nothing breaks out to the side. */
async function seeAll(page: Page): Promise<string> {
  await page.locator('details').evaluateAll((all) => {
    for (const details of all as HTMLDetailsElement[]) details.open = true;
  });
  const [width, inner] = await page.evaluate(() => [
    document.documentElement.scrollWidth,
    innerWidth,
  ]);
  expect(width).toBeLessThanOrEqual(inner);
  return page.locator('body').innerText();
}

it('shows what hostile boards say of themselves as text, and does nothing that it says', async () => {
  const { page, complaints, struck, button, idle } = await watchedPage();
  const texts = HOSTILE_TEXTS.filter((text) => encodeURIComponent(text).length <= 48);
  const boards = HOSTILE_BOARDS.map(
    (identity, i) =>
      new HostileBoard(
        ({ fields }) => {
          if (fields['serial']) return identity;
          if (fields['label']) {
            const at = Number(fields['at']);
            const text = { value: '<img/src=//a.b/>', default: '"><b>' };
            return {
              label: texts[(i + at) % texts.length]!,
              ...(fields['unit'] && { unit: '<b>"&' }),
              ...(String(fields['kind']) === 'text' && { ...text, longest: '24' }),
            };
          }
          return {};
        },
        HOSTILE_TEXTS[i % HOSTILE_TEXTS.length]!,
      ),
  );
  boards.push(
    new HostileBoard(({ fields }) => (fields['serial'] ? { name: HOSTILE_LETTERS[0]! } : {})),
    new HostileBoard(({ fields }) => (fields['can'] ? { can: '<img/src=//a.b/>' } : {})),
  );
  const served = await SocketServer.at(0, boards);
  await page.goto(inject('appUrl'));
  for (const [i, identity] of HOSTILE_BOARDS.entries()) {
    if (i > 0) await button('Link another board').click();
    await page.getByLabel('Address of a board').fill(served.address(i));
    await button('Link by address').click();
    await button('Begin taking readings').waitFor(LONG);
    await idle();
    const words = await seeAll(page);
    for (const each of Object.values(identity)) expect(words).toContain(each);
    await page.locator('wire-view').getByText(HOSTILE_TEXTS[i]!).first().waitFor();
  }
  const labels = await page.locator('care-settings label').allInnerTexts();
  expect(labels).not.toEqual([]);
  expect(labels.filter((each) => !texts.some((text) => each.includes(text)))).toEqual([]);
  await page.reload(); // and once more from what is kept
  await button('Begin taking readings').waitFor(LONG);
  await idle();
  await seeAll(page);

  // names and choices that the protocol has no room for are refused, and told of in words
  for (const [at, why] of ['holds control characters', 'which is no name'].entries()) {
    if (at === 0) await button('Link another board').click();
    await page.getByLabel('Address of a board').fill(served.address(HOSTILE_BOARDS.length + at));
    await button('Link by address').click();
    await page.getByText(why).first().waitFor(LONG);
    await idle();
    await seeAll(page);
  }

  await page.goto(`${inject('appUrl')}#logbook`);
  for (const [i, { serial, name }] of HOSTILE_BOARDS.entries()) {
    await page.locator('logbook-boards a').nth(i).waitFor();
    const all = await seeAll(page);
    expect(all).toContain(serial);
    const called = { name: `${name}, ${serial}`, exact: true };
    await page.getByRole('link', called).click();
    await page.getByRole('heading', called).waitFor();
    await seeAll(page);
    await page.goBack();
  }
  expect(struck).toEqual([]);
  expect(complaints).toEqual([]);
  await served.end();
  await page.close();
});

it('keeps what a person types, and the names and headers of files, as text', async () => {
  const { page, complaints, struck, button, idle } = await watchedPage();
  await page.goto(inject('appUrl'));
  await button('Link the simulated board').click();
  await button('Begin taking readings').click();
  await button('Take one reading').click();
  await page.getByText('1 of 56 attitudes covered').waitFor(LONG);
  for (const text of [...HOSTILE_TEXTS, ...HOSTILE_LETTERS]) {
    await idle();
    await button('Set aside reading 1').click();
    await page.getByLabel('Iron or a magnet was near').check();
    await page.getByLabel('In your words').fill(text);
    await button('Set it aside').click();
    const row = page.locator('table.readings tbody tr').first();
    await row.getByText('Set aside: Iron or a magnet was near').waitFor(LONG);
    if (HOSTILE_TEXTS.includes(text)) expect(await row.innerText()).toContain(text);
    await seeAll(page);
    await button('Take back reading 1').click();
  }

  const { hardware, firmware: version } = HOSTILE_BOARDS[0];
  for (const name of ['<img src=x onerror=hit()>.bin', `a\u202enib.${'W'.repeat(200)}`]) {
    await page.getByLabel('A file of firmware').setInputFiles({
      name,
      mimeType: 'text/html',
      buffer: Buffer.from(formatImage({ hardware, version, program: Uint8Array.of(0, 1) })),
    });
    await page.locator('care-firmware h3').getByText(name.slice(0, 4)).waitFor();
    const words = await seeAll(page);
    for (const each of [name, hardware, version]) expect(words).toContain(each);
    await button('Not this file').click();
  }
  expect(struck).toEqual([]);
  expect(complaints).toEqual([]);
  await page.close();
});

it('keeps sheets, files and addresses of the logbook as text', async () => {
  const { page, complaints, struck, button, idle } = await watchedPage();
  const url = inject('appUrl');
  await page.goto(url);
  await button('Link the simulated board').click();
  await button('Begin taking readings').waitFor(LONG);
  await idle();

  await page.goto(`${url}#logbook`);
  const sheet = page.getByLabel('Readings, a line for each');
  await page.locator('readings-from-sheet-view summary').first().click();
  for (const text of [...HOSTILE_TEXTS, ...HOSTILE_LETTERS]) {
    await sheet.fill(`id,${text},ay,az,mx,my,mz\n${text},1,2,3,4,5,6\n`);
    await page.evaluate(() => new Promise(requestAnimationFrame)); // a preview, or what is wrong with it
    if (text === HOSTILE_TEXTS[0]) {
      expect(await page.locator('readings-from-sheet-view').innerText()).toContain(text);
    }
    await seeAll(page);
  }
  await page.getByLabel('Or bring in a file').setInputFiles({
    name: '<img src=x onerror=hit()>.csv',
    mimeType: 'text/html',
    buffer: Buffer.from(`${HOSTILE_TEXTS.join('\n')}\n`),
  });
  await page.getByText('From the file <img src=x onerror=hit()>.csv').waitFor();
  await seeAll(page);

  for (const serial of ['<img src=x onerror=hit()>', '%E0%A4%A', '__proto__', '"><b>', '%00/..']) {
    await page.goto(`${url}#logbook/${serial}`);
    await page.locator('#logbook-heading').waitFor();
    await seeAll(page);
  }

  await page.goto(`${url}#logbook`);
  await page.getByRole('link', { name: /SIM-/ }).first().click();
  const remark = page.locator('remark-form');
  for (const text of [...HOSTILE_TEXTS, ...HOSTILE_LETTERS]) {
    await remark.getByLabel('In your words').fill(text);
    await remark.getByRole('button', { name: 'Write it down' }).click();
    await page.waitForFunction(
      () => document.querySelector<HTMLInputElement>('remark-form input[name=text]')?.value === '',
    );
  }
  const course = (await page.locator('course-view').innerText()).replaceAll(/\s+/g, ' ');
  for (const text of HOSTILE_TEXTS) expect(course).toContain(text);

  const file = page.getByLabel('A coefficients file (JSON) of this program');
  await seeAll(page); // what is behind a sheet is drawn as it is opened
  await file.waitFor({ state: 'attached' });
  await seeAll(page);
  const hostile = '<img src=x onerror=hit()>';
  for (const content of [
    hostile,
    JSON.stringify({ type: hostile, version: hostile, [hostile]: hostile }),
    `{"__proto__": {"type": "lodebench.coefficients"}, "type": "lodebench.coefficients", "version": 1}`,
    `${'['.repeat(50_000)}${']'.repeat(50_000)}`,
    `{"type": "lodebench.coefficients", "version": 1, "model": "${hostile}"}`,
  ]) {
    await file.setInputFiles({
      name: hostile,
      mimeType: 'text/html',
      buffer: Buffer.from(content),
    });
    await page.locator('entering-view [role=alert] p').first().waitFor();
    await seeAll(page);
  }
  expect(struck).toEqual([]);
  expect(complaints).toEqual([]);
  await page.close();
});

it('would see a hostile text that got through, and even then its policy lets it do nothing', async () => {
  const { page, complaints, struck } = await watchedPage();
  await page.goto(inject('appUrl'));
  const refused = await page.evaluate(async () => {
    const tries: Record<string, () => unknown> = {
      'a text as markup': () => (document.createElement('p').innerHTML = '<b>x</b>'),
      'a text as code': () => Function('return 1')(),
      'a worker from elsewhere': () => new Worker('https://a.b/worker.js'),
      'asking elsewhere': () => fetch('https://a.b/'),
      'a socket to elsewhere': () =>
        new Promise((resolve, reject) => {
          const socket = new WebSocket('wss://a.b/');
          socket.onopen = resolve;
          socket.onerror = reject;
        }),
    };
    const refused: string[] = [];
    await new Promise((resolve) => setTimeout(resolve)); // a debugger itself may do more
    for (const [what, attempt] of Object.entries(tries)) {
      try {
        await attempt();
      } catch {
        refused.push(what);
      }
    }
    // as if markup had got in all the same
    for (const [tag, attributes] of [
      ['img', { src: 'https://a.b/x.png' }],
      ['iframe', { src: 'https://a.b/' }],
      ['link', { rel: 'stylesheet', href: 'https://a.b/x.css' }],
      ['base', { href: 'https://a.b/' }],
      ['p', { style: 'color: red' }],
    ] as const) {
      const element = document.createElement(tag);
      for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
      document.body.append(element);
    }
    return refused;
  });
  expect(refused).toHaveLength(5);
  expect(struck.some((each) => each.startsWith('<img'))).toBe(true);
  const directives = ['require-trusted-types-for', 'connect-src', 'img-src', 'frame-src'];
  directives.push('style-src-elem', 'style-src-attr', 'base-uri');
  for (const directive of directives) {
    await expect.poll(() => complaints.join('\n')).toContain(`against the policy: ${directive}`);
  }
  expect(struck.filter((each) => !each.startsWith('<'))).toEqual([]); // no request left
  await page.close();
});
