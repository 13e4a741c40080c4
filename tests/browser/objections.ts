import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import type axe from 'axe-core';
import type { JSHandle, Page } from 'playwright-core';

const axeSource = readFileSync(
  createRequire(import.meta.url).resolve('axe-core/axe.min.js'),
  'utf8',
);

/** The dark page differs from the light one in nothing but its colours, and they in nothing but whether they can be read. */
const SCHEMES = ['light', 'dark'] as const;
const OF_COLOURS = ['color-contrast'];

/** Rules that judge an element by the others: the whole page is looked at for these, whatever was seen of it before. */
const OF_WHOLE_PAGES = [
  'aria-hidden-body',
  'bypass',
  'document-title',
  'duplicate-id-aria',
  'heading-order',
  'html-has-lang',
  'landmark-banner-is-top-level',
  'landmark-complementary-is-top-level',
  'landmark-contentinfo-is-top-level',
  'landmark-main-is-top-level',
  'landmark-no-duplicate-banner',
  'landmark-no-duplicate-contentinfo',
  'landmark-no-duplicate-main',
  'landmark-one-main',
  'landmark-unique',
  'meta-viewport',
  'page-has-heading-one',
  'region',
  'skip-link',
];

/** The least width and height of whatever is to be hit with a finger, pixels. */
const TARGET = 44;

/**
 * Looks over a page in one state after another: with axe-core, in light and dark, and with a ruler for what is too wide for
 * the page or too small for a finger. Every part that can be opened is. What stands just where it stood, and is just what
 * it was, when it was looked over before, is not looked over again.
 */
export class Inspection {
  /** Names of what was looked over, of each scheme. */
  readonly #seen = { light: new Set<number>(), dark: new Set<number>() };

  /** @param within a selector: only what is in there is looked over; the whole page if absent */
  constructor(
    private readonly page: Page,
    private readonly within?: string,
  ) {}

  /** What there is to object to in the page as it is now, in words. */
  async objections(): Promise<string[]> {
    const { page } = this;
    const opened = await openAll(page); // nothing is seen of what is closed
    const found = await this.#measured();
    // it is in a page until that is loaded again
    if (await page.evaluate(() => !('axe' in globalThis))) await page.evaluate(axeSource);
    for (const scheme of SCHEMES) {
      await page.emulateMedia({ colorScheme: scheme, reducedMotion: 'reduce' });
      found.push(...(await this.#byAxe(scheme)));
    }
    await opened.evaluate((all) => {
      for (const details of all) details.open = false;
    });
    await opened.dispose();
    return found;
  }

  async #byAxe(scheme: 'light' | 'dark'): Promise<string[]> {
    const seen = this.#seen[scheme];
    const { violations, names } = await this.page.evaluate(runAxe, {
      within: this.within,
      seen: [...seen],
      only: scheme === 'dark' ? OF_COLOURS : undefined,
      whole: OF_WHOLE_PAGES,
    });
    // what was objected to is not the next time: it was said
    for (const name of names) seen.add(name);
    return violations.map((words) => `${scheme}: ${words}`);
  }

  async #measured(): Promise<string[]> {
    const { width, inner, small } = await this.page.evaluate(measure, {
      within: this.within,
      least: TARGET,
    });
    return [
      ...(width > inner ? [`the page is ${width} pixels wide on a screen of ${inner}`] : []),
      ...small,
    ];
  }
}

/** Opens every part of the page that can be opened and is not; gives those it opened, the inner ones first. */
function openAll(page: Page): Promise<JSHandle<HTMLDetailsElement[]>> {
  return page.evaluateHandle(async () => {
    const opened: HTMLDetailsElement[] = [];
    for (;;) {
      const closed = document.querySelectorAll<HTMLDetailsElement>('details:not([open])');
      if (closed.length === 0) return opened.reverse();
      for (const details of closed) details.open = true;
      opened.push(...closed);
      // some draw what is in them only now, and it may have parts to open of its own
      await new Promise((resolve) => requestAnimationFrame(() => requestAnimationFrame(resolve)));
    }
  });
}

/* What follows runs in the page: each function stands alone. */

/**
 * @param whole rules for which the page is looked at as a whole
 * @param only these rules, and the whole page is not looked at
 * @returns what axe objects to, and names for all that was looked over
 */
async function runAxe({
  within,
  seen,
  only,
  whole,
}: {
  within: string | undefined;
  seen: readonly number[];
  only: readonly string[] | undefined;
  whole: readonly string[];
}): Promise<{ violations: string[]; names: number[] }> {
  const own = globalThis as unknown as { axe: typeof axe };
  const roots = within === undefined ? [document.body] : [...document.querySelectorAll(within)];
  const before = new Set(seen);
  const names: number[] = [];
  const known: Element[] = [];
  const nameOf = (text: string) => {
    let [a, b] = [0xdeadbeef, 0x41c6ce57];
    for (let i = 0; i < text.length; i++) {
      const code = text.charCodeAt(i);
      a = Math.imul(a ^ code, 2654435761);
      b = Math.imul(b ^ code, 1597334677);
    }
    return (b >>> 11) * 2 ** 32 + (a >>> 0);
  };
  /** Lit marks in comments what it has put where; the marks differ from load to load. */
  const textOf = (element: Element) => element.outerHTML.replace(/<!--.*?-->/g, '');
  const kindOf = (element: Element) =>
    `${element.tagName}.${element.getAttribute('class') ?? ''} ${element.getAttribute('aria-disabled') ?? ''}`;
  const walk = (element: Element, path: string): void => {
    const name = nameOf(`${path} ${textOf(element)}`);
    if (before.has(name)) {
      known.push(element);
      return;
    }
    names.push(name);
    for (const child of element.children) walk(child, `${path} ${kindOf(element)}`);
  };
  for (const root of roots) walk(root, innerWidth < 960 ? 'narrow' : 'wide');

  const run = async (
    context: Parameters<typeof axe.run>[0],
    options: Parameters<typeof axe.run>[1],
  ) => {
    const { violations } = await own.axe.run(context, { resultTypes: ['violations'], ...options });
    return violations.map(
      ({ id, nodes }) => `${id} at ${nodes.map(({ html }) => html.slice(0, 200)).join('; ')}`,
    );
  };
  const off = Object.fromEntries(whole.map((id) => [id, { enabled: false }]));
  const parts = roots.some((root) => !known.includes(root))
    ? await run(
        { include: roots as HTMLElement[], exclude: known as HTMLElement[] },
        only ? { runOnly: [...only] } : { rules: off },
      )
    : [];
  const page = only || within !== undefined ? [] : await run(document, { runOnly: [...whole] });
  return { violations: [...parts, ...page], names };
}

/** Whether the page needs scrolling sideways, and what is to be hit with a finger and is too small for one. */
function measure({ within, least }: { within: string | undefined; least: number }): {
  width: number;
  inner: number;
  small: string[];
} {
  const targets = 'button, summary, a[href], input, select, textarea, [role=button]';
  const roots = within === undefined ? [document.body] : [...document.querySelectorAll(within)];
  /** A box to tick is ticked by its label too. */
  const hit = (element: Element): DOMRect[] => {
    const isTicked = element.matches('input[type=checkbox], input[type=radio]');
    const labels = isTicked ? [...((element as HTMLInputElement).labels ?? [])] : [];
    return [element, ...labels].map((each) => each.getBoundingClientRect());
  };
  /** A link in the midst of a text is as high as its line. */
  const isInText = (element: Element): boolean =>
    element.matches('a') &&
    getComputedStyle(element).display === 'inline' &&
    [...element.parentElement!.childNodes].some(
      (each) => each.nodeType === Node.TEXT_NODE && each.textContent!.trim() !== '',
    );
  const small = roots
    .flatMap((root) => [...root.querySelectorAll(targets)])
    .filter((each) => each.checkVisibility({ visibilityProperty: true }) && !isInText(each))
    .flatMap((each) => {
      const rects = hit(each);
      const width = Math.max(...rects.map((rect) => rect.width));
      const height = Math.max(...rects.map((rect) => rect.height));
      // a size is rounded to a 64th of a pixel
      if (width >= least - 0.02 && height >= least - 0.02) return [];
      return [
        `${Math.round(width)} by ${Math.round(height)} pixels: ${each.outerHTML
          .replace(/<!--.*?-->/g, '')
          .replace(/\s+/g, ' ')
          .slice(0, 160)}`,
      ];
    });
  return { width: document.documentElement.scrollWidth, inner: innerWidth, small };
}
