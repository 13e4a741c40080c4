import { readFileSync } from 'node:fs';
import { expect, it } from 'vitest';
import { CONTENT_POLICY } from '../build/content-policy.ts';

it('the header that README gives to those who host the page is the policy that the page carries, and who may frame it', () => {
  const readme = readFileSync(new URL('../README.md', import.meta.url), 'utf8');
  const given = /^Content-Security-Policy: (.*)$/m.exec(readme)?.[1]?.split('; ');
  // workers and the service worker get the header too, and have no such types
  const carried = Object.entries(CONTENT_POLICY).filter(
    ([name]) => !name.includes('trusted-types'),
  );
  expect(given).toEqual([
    ...carried.map(([name, value]) => `${name} ${value}`),
    "frame-ancestors 'none'",
  ]);
});
