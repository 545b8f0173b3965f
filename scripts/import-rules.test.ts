import { ESLint } from 'eslint';
import { describe, expect, it } from 'vitest';

const eslint = new ESLint({ cwd: new URL('..', import.meta.url).pathname });

async function faultsOf(filePath: string, code: string): Promise<string[]> {
  const [result] = await eslint.lintText(code, { filePath });
  return (result?.messages ?? [])
    .filter((m) => m.ruleId?.endsWith('no-restricted-imports'))
    .map((m) => m.message);
}

describe('imports go downwards only', () => {
  it.each([
    ['packages/core/src/records/probe.ts', "import { x } from '@longhold/ui'; export const y = x;"],
    [
      'packages/core/src/records/probe.ts',
      "import { readFileSync } from 'node:fs'; export const y = readFileSync;",
    ],
    ['packages/ui/src/probe.ts', "import { x } from '@longhold/desktop/host'; export const y = x;"],
    ['demo/src/probe.ts', "import { x } from '@longhold/ui'; export const y = x;"],
    ['apps/desktop/renderer/probe.ts', "import { x } from '../host/router'; export const y = x;"],
    [
      'apps/desktop/renderer/outcomes/probe.svelte',
      "<script lang='ts'>import { x } from '../../host/router'; x();</script>",
    ],
    ['apps/desktop/host/store/schema.ts', "import { x } from '../../renderer/state'; export const y = x;"],
    ['apps/desktop/host/store/schema.ts', "import { app } from 'electron'; export const y = app;"],
    ['apps/desktop/electron/main.ts', "import { x } from '@longhold/core/records'; export const y = x;"],
  ])('%s may not contain: %s', async (filePath, code) => {
    expect(await faultsOf(filePath, code)).not.toEqual([]);
  });

  it.each([
    [
      'packages/ui/src/probe.ts',
      "import { isoDateSchema } from '@longhold/core/records'; export const y = isoDateSchema;",
    ],
    [
      'apps/desktop/renderer/probe.ts',
      "import type { AppRouter } from '../host/router'; export type Y = AppRouter;",
    ],
  ])('%s may contain: %s', async (filePath, code) => {
    expect(await faultsOf(filePath, code)).toEqual([]);
  });
});
