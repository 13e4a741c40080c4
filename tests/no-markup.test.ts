import { ESLint } from 'eslint';
import { describe, expect, it } from 'vitest';

/** What boards, files and people say never becomes markup, code or style; lint holds the ways to it shut. */
const eslint = new ESLint();

async function complaints(code: string): Promise<string[]> {
  const [result] = await eslint.lintText(`${code}\n`, { filePath: 'src/views/x.ts' });
  return result!.messages.map(({ ruleId }) => ruleId ?? 'parse');
}

describe('lint refuses', () => {
  it.each([
    ['element.innerHTML = text;', 'no-restricted-syntax'],
    ['element.insertAdjacentHTML("beforeend", text);', 'no-restricted-syntax'],
    ['document.write(text);', 'no-restricted-syntax'],
    ['new DOMParser().parseFromString(text, "text/html");', 'no-restricted-syntax'],
    ['element.style.cssText = text;', 'no-restricted-syntax'],
    ['element.setAttribute("style", text);', 'no-restricted-syntax'],
    ['element.setAttribute("onclick", text);', 'no-restricted-syntax'],
    ['html`<p style="color: ${text}"></p>`;', 'no-restricted-syntax'],
    ['html`<p .innerHTML=${text}></p>`;', 'no-restricted-syntax'],
    ['html`<p\nonclick=${text}></p>`;', 'no-restricted-syntax'],
    ['svg`<g style=${text}></g>`;', 'no-restricted-syntax'],
    ['import "lit/directives/unsafe-html.js";', 'no-restricted-imports'],
    ['import "lit/directives/unsafe-svg.js";', 'no-restricted-imports'],
    ['import "lit/directives/style-map.js";', 'no-restricted-imports'],
    ['import "lit/static-html.js";', 'no-restricted-imports'],
    ['eval(text);', 'no-eval'],
    ['new Function(text);', 'no-new-func'],
    ['location.href = "javascript:hit()";', 'no-script-url'],
  ])('%s', async (code, rule) => {
    expect(await complaints(code)).toContain(rule);
  });
});

describe('lint allows', () => {
  it.each([
    'html`<p class="words" @click=${listener}>${text}, going on = staying</p>`;',
    'element.style.setProperty("--share", share);',
    'element.setAttribute("aria-label", text);',
    'import "lit/directives/live.js";',
  ])('%s', async (code) => {
    expect((await complaints(code)).filter((rule) => /restricted|eval|func/.test(rule))).toEqual(
      [],
    );
  });
});
