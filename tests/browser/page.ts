import type { Browser, BrowserContext, Page } from 'playwright-core';

/**
 * A page with everything it complains of.
 *
 * @param where a browser, in which the page shares nothing with others; or a context
 * @returns the page, and its complaints: errors on the console, errors nobody caught, and what its own content policy
 *   would not have
 */
export async function openPage(
  where: Browser | BrowserContext,
  { width, height }: { width: number; height: number } = { width: 1280, height: 900 },
): Promise<{ page: Page; complaints: string[] }> {
  const page = await where.newPage();
  await page.setViewportSize({ width, height });
  const complaints: string[] = [];
  page.on('console', (message) => {
    // the browser by itself asks for an icon where a file is opened that is no page
    const isIcon = message.location().url.endsWith('/favicon.ico');
    if (message.type() === 'error' && !isIcon) complaints.push(message.text());
  });
  page.on('pageerror', (error) => complaints.push(String(error)));
  await page.addInitScript(() => {
    addEventListener('securitypolicyviolation', ({ violatedDirective, blockedURI, sample }) =>
      console.error(`against the policy: ${violatedDirective} ${blockedURI} ${sample}`),
    );
  });
  return { page, complaints };
}
