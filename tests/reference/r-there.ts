import { spawnSync } from 'node:child_process';

/** Whether R is here with all these packages. */
export function rIsThere(packages: readonly string[]): boolean {
  const all = packages.map((name) => `requireNamespace("${name}", quietly = TRUE)`).join(' && ');
  return spawnSync('Rscript', ['-e', `quit(status = if (${all}) 0 else 1)`]).status === 0;
}
