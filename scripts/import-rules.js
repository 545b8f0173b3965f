/**
 * Imports go downwards only: renderer -> ui -> core; cli and electron -> host; host -> core, demo; demo -> core;
 * sync -> core.
 * Each entry names a folder and what its files must not import. Tests are free to reach further.
 */
const forbidden = [
  {
    folder: 'packages/core/src',
    patterns: [
      ['@longhold/*', 'core imports nothing of ours; inside core use relative paths'],
      ['node:*', 'core is pure: no input, output or clock'],
      ['svelte*', 'core knows no screens'],
    ],
  },
  {
    folder: 'packages/ui/src',
    patterns: [
      ['@longhold/desktop*', 'ui gets everything by props'],
      ['@longhold/demo*', 'ui gets everything by props'],
      ['@trpc/*', 'ui fetches nothing'],
      ['node:*', 'ui runs in a browser'],
      ['**/apps/**', 'ui imports only core'],
    ],
  },
  {
    folder: 'demo/src',
    patterns: [
      ['@longhold/desktop*', 'demo imports only core'],
      ['@longhold/ui*', 'demo imports only core'],
      ['node:*', 'the generator is pure; files are written by the command line'],
    ],
  },
  {
    folder: 'apps/desktop/renderer',
    patterns: [
      ['**/host/**', 'the renderer talks to the host by its router only; types are allowed'],
      ['**/electron/**', 'the renderer does not know Electron; types are allowed'],
      ['**/cli/**', 'the renderer does not know the command line'],
      ['@longhold/demo*', 'demo data come from the host'],
      ['node:*', 'the renderer runs in a browser'],
    ],
  },
  {
    folder: 'apps/desktop/host',
    patterns: [
      ['**/renderer/**', 'the host knows no screens'],
      ['**/electron/**', 'the host runs without Electron'],
      ['electron', 'the host runs without Electron'],
      ['**/cli/**', 'the command line sits on top of the host'],
    ],
  },
  {
    folder: 'apps/desktop/electron',
    patterns: [
      ['**/renderer/**', 'Electron shows the built renderer, it does not import it'],
      ['@longhold/core*', 'no domain logic in the window'],
    ],
  },
  {
    folder: 'apps/desktop/cli',
    patterns: [
      ['**/renderer/**', 'the command line has no screens'],
      ['electron', 'the command line has no window'],
    ],
  },
  {
    folder: 'apps/sync/src',
    patterns: [
      ['@longhold/desktop*', 'the service knows no clinic program'],
      ['@longhold/ui*', 'the service has no screens'],
      ['@longhold/demo*', 'the service makes no data up'],
      ['**/desktop/**', 'the service imports only core'],
    ],
  },
];

export const importRules = forbidden.map(({ folder, patterns }) => ({
  files: [`${folder}/**/*.ts`, `${folder}/**/*.svelte`],
  ignores: ['**/*.test.ts', '**/*.config.ts'],
  rules: {
    '@typescript-eslint/no-restricted-imports': [
      'error',
      {
        patterns: patterns.map(([group, message]) => ({
          group: [group],
          message,
          allowTypeImports: folder === 'apps/desktop/renderer',
        })),
      },
    ],
  },
}));
