import { svelte } from '@sveltejs/vite-plugin-svelte';
import { defineConfig } from 'vitest/config';

const units = (name: string, include: string[]) => ({
  test: { name, include, environment: 'node' as const },
});

/** Programs are started and files are locked there, so tests get time and each file its own process. */
const programs = (name: string, include: string[]) => ({
  test: {
    name,
    include,
    environment: 'node' as const,
    testTimeout: 120_000,
    hookTimeout: 120_000,
    pool: 'forks' as const,
    fileParallelism: false,
  },
});

export default defineConfig({
  test: {
    projects: [
      units('core', ['packages/core/src/**/*.test.ts']),
      units('demo', ['demo/src/**/*.test.ts']),
      units('scripts', ['scripts/**/*.test.ts']),
      {
        plugins: [svelte()],
        resolve: { conditions: ['browser'] },
        test: {
          name: 'screens',
          include: ['packages/ui/src/**/*.test.ts', 'apps/desktop/renderer/**/*.test.ts'],
          environment: 'node',
        },
      },
      programs('desktop', ['apps/desktop/{host,cli,electron}/**/*.test.ts']),
      programs('sync', ['apps/sync/src/**/*.test.ts']),
      { test: { name: 'reference', include: ['tests/reference/**/*.test.ts'], testTimeout: 120_000 } },
      { test: { name: 'acceptance', include: ['tests/acceptance/**/*.test.ts'], testTimeout: 120_000 } },
      programs('documentation', ['tests/documentation/**/*.test.ts']),
      programs('faults', ['tests/faults/**/*.test.ts']),
      programs('e2e', ['tests/e2e/**/*.test.ts']),
    ],
  },
});
