/**
 * Texts that come to harm where anything takes them for more than texts: for markup, for a script, for an address, for a
 * path, for a formula. As markup each of them either calls `hit()`, or asks for something at `//a.b`, or adds an element
 * of a kind that no view has ({@link FOREIGN}).
 */

/** What a board may say of itself, as short as SPEC.md, section 2 wants it. */
export const HOSTILE_BOARDS = [
  {
    serial: '<img src=//a.b/>',
    name: '<svg/onload=hit()>',
    hardware: '<b>x</b>',
    firmware: '"><i>x',
  },
  {
    serial: '../../%2e%2e/%00',
    name: '</p></h2><b>x',
    hardware: '{{hit()}}',
    firmware: '${hit()}',
  },
  {
    serial: '#"><b>&lt;b&gt;',
    name: '=HYPERLINK("//a")',
    hardware: "'-hit()-'",
    firmware: '<b>&"\'',
  },
  { serial: '%', name: '%E0%A4%A', hardware: '%00', firmware: '%' },
  { serial: '__proto__', name: 'constructor', hardware: 'toString', firmware: '__proto__' },
  { serial: 'javascript:hit()', name: '<base/href=//a.b/>', hardware: 'a', firmware: 'b' },
] as const;

/** For fields of forty bytes and what a person types. */
export const HOSTILE_TEXTS: readonly string[] = [
  '<script>hit()</script>',
  '<img src=x onerror=hit()>',
  '<iframe srcdoc="<script>hit()</script>">',
  '"><b onmouseover="hit()">x</b>',
  "' onfocus='hit()' autofocus='",
  '<a href="javascript:hit()">x</a>',
  '<style>*{display:none}</style>',
  '</textarea></dialog><b>out</b>',
  '&lt;b&gt;&#60;b&#62;&quot;',
  '<!--<b>-->',
  '<math><mtext><b>',
  'javascript:hit()',
];

/** Letters that are no letters: right-to-left overrides, marks without width, controls, half of a pair, and far too many. */
export const HOSTILE_LETTERS: readonly string[] = [
  'a\u202egnp.exe\u202c',
  '\u2066\u2067isolated, and never closed',
  'zero\u200bwidth\u200d\ufeffmarks',
  'e' + '\u0301'.repeat(300),
  'controls\u0000\u0007\u001b[31m\u0085',
  'half a pair \ud83d',
  'W'.repeat(3000),
];

/** Kinds of elements that hostile texts would add, and no view has. */
export const FOREIGN =
  'script:not([src]), img, iframe, object, embed, base, b, i, math, style, svg[onload], form[action], [autofocus], a[href^="javascript" i], a[href^="//"]';
