import type { Browser, Page } from 'playwright-core';

/**
 * A page under the strictest content policy that a site may be served with, and with everything it complains of.
 *
 * @returns the page, and its complaints: errors on the console, and errors nobody caught
 */
export async function openPage(
  browser: Browser,
  options: { width: number; height: number },
): Promise<{ page: Page; complaints: string[] }> {
  const page = await browser.newPage({ viewport: options });
  const complaints: string[] = [];
  page.on('console', (message) => {
    if (message.type() === 'error') complaints.push(message.text());
  });
  page.on('pageerror', (error) => complaints.push(String(error)));
  await page.route('**/*', async (route) => {
    const response = await route.fetch();
    const policy =
      "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; worker-src 'self'";
    const headers = { ...response.headers(), 'content-security-policy': policy };
    await route.fulfill({ response, headers });
  });
  return { page, complaints };
}
