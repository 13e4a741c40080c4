import eslint from '@eslint/js';
import { configs as lit } from 'eslint-plugin-lit';
import litA11y from 'eslint-plugin-lit-a11y';
import { configs as wc } from 'eslint-plugin-wc';
import tseslint from 'typescript-eslint';

/** Which rooms of the house a room may import from; everything else of the project is refused. */
const arrows = {
  'src/calib': [],
  'src/protocol': [],
  'src/transport': ['src/protocol', 'firmware-sim'],
  'src/records': ['src/protocol', 'src/calib'],
  'src/steps': ['src/records', 'src/protocol', 'src/calib'],
  'src/views': ['src/steps'],
  'src/cli': ['src/steps', 'src/records', 'src/protocol', 'src/calib', 'src/transport'],
  'firmware-sim': ['src/protocol'],
  sim: ['firmware-sim', 'src/protocol', 'src/transport'],
};

/** Packages that a pure room may use: calib is mathematics, protocol is text. */
const packages = {
  'src/calib': ['ml-matrix'],
  'src/protocol': [],
  'firmware-sim': ['pure-rand', '@noble/curves/ed25519.js'],
};

/** Nothing that comes from a board, a file or a person becomes markup, code or style: all of it is shown as text. */
const MARKUP = 'Show it as text, in a template of Lit.';
const STYLE =
  'The content policy takes no style written in markup: use a class, or a property of element.style.';
const noMarkup = [
  [
    'MemberExpression[property.name=/^(innerHTML|outerHTML|srcdoc|insertAdjacentHTML|setHTMLUnsafe|parseHTMLUnsafe|createContextualFragment|parseFromString)$/]',
    MARKUP,
  ],
  ['CallExpression[callee.object.name="document"][callee.property.name=/^write(ln)?$/]', MARKUP],
  ['MemberExpression[property.name="cssText"]', STYLE],
  [
    'CallExpression[callee.property.name="setAttribute"][arguments.0.value=/^(style|srcdoc|on)/i]',
    STYLE,
  ],
  [
    'TaggedTemplateExpression[tag.name=/^(html|svg)$/] TemplateElement[value.raw=/[\\s.](style|srcdoc|innerHTML|outerHTML|on[a-z]+)=/i]',
    'A template sets no style, no markup and no handler by its attributes: use a class, text, and @event.',
  ],
].map(([selector, message]) => ({ selector, message }));

const noMarkupImports = {
  regex: '^lit(-html)?/(directives/(unsafe-|style-map)|static|experimental)',
  message: `${MARKUP} ${STYLE}`,
};

const rooms = Object.keys(arrows);
const folder = (room) => room.split('/').at(-1);

const arrowRules = rooms.map((room) => {
  const closed = rooms.filter((other) => other !== room && !arrows[room].includes(other));
  const allowed = packages[room];
  return {
    files: [`${room}/**/*.ts`],
    rules: {
      'no-restricted-imports': [
        'error',
        {
          patterns: [
            {
              regex: `^\\.{1,2}/(.*/)?(${closed.map(folder).join('|')})/`,
              message: `${room} may import only from: ${arrows[room].join(', ') || 'itself'}.`,
            },
            noMarkupImports,
            ...(allowed
              ? [
                  {
                    regex: `^(?!\\.|(${allowed.join('|') || '(?!)'})(/|$))`,
                    message: `${room} may use only these packages: ${allowed.join(', ') || 'none'}.`,
                  },
                ]
              : []),
          ],
        },
      ],
    },
  };
});

export default tseslint.config(
  { ignores: ['dist', 'node_modules'] },
  eslint.configs.recommended,
  tseslint.configs.recommended,
  {
    rules: {
      '@typescript-eslint/no-unused-vars': [
        'error',
        { argsIgnorePattern: '^_', varsIgnorePattern: '^_' },
      ],
      'no-console': 'off',
    },
  },
  {
    files: ['src/views/**/*.ts'],
    ...lit['flat/recommended'],
  },
  { files: ['src/views/**/*.ts'], ...wc['flat/recommended'] },
  {
    files: ['src/views/**/*.ts'],
    plugins: { 'lit-a11y': litA11y },
    rules: litA11y.configs.recommended.rules,
  },
  {
    files: ['src/calib/**/*.ts', 'src/protocol/**/*.ts', 'firmware-sim/**/*.ts'],
    rules: {
      'no-restricted-globals': [
        'error',
        ...['window', 'document', 'navigator', 'localStorage', 'performance', 'setTimeout'],
        ...['setInterval', 'Date', 'fetch', 'crypto'],
      ],
      'no-restricted-properties': [
        'error',
        { object: 'Math', property: 'random', message: 'Use a seeded generator.' },
      ],
    },
  },
  {
    files: ['src/**/*.ts', 'firmware-sim/**/*.ts'],
    rules: {
      'no-restricted-syntax': ['error', ...noMarkup],
      'no-eval': 'error',
      'no-new-func': 'error',
      'no-script-url': 'error',
    },
  },
  ...arrowRules,
);
