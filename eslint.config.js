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
  ...arrowRules,
);
