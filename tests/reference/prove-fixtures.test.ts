import { spawnSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { referencePath } from './fixture';
import { rIsThere } from './r-there';
import { REMADE, REMADE_BY_OPTIMISER } from './tolerances';

/** Debian: r-base-core and r-cran-survival, -kmsurv, -nlme, -lme4, -metafor, -cmprsk, -lmertest, -psych, -boot. */
const PACKAGES = ['survival', 'KMsurv', 'nlme', 'lme4', 'metafor', 'cmprsk', 'lmerTest', 'psych', 'boot'];

const JSON_SCRIPTS: readonly (readonly [script: string, tolerance: number])[] = [
  ['accelerated-failure-time', REMADE_BY_OPTIMISER],
  ['answers', REMADE_BY_OPTIMISER],
  ['agreement', REMADE],
  ['between-film', REMADE_BY_OPTIMISER],
  ['competing-events', REMADE],
  ['cox-regression', REMADE_BY_OPTIMISER],
  ['distributions', REMADE],
  ['fieller', REMADE],
  ['gave-way', REMADE],
  ['growth', REMADE_BY_OPTIMISER],
  ['imported-tables', REMADE_BY_OPTIMISER],
  ['interval-censored-groups', REMADE_BY_OPTIMISER],
  ['kaplan-meier', REMADE],
  ['log-rank', REMADE],
  ['main-job', REMADE_BY_OPTIMISER],
  ['planning', REMADE_BY_OPTIMISER],
  ['pooled', REMADE_BY_OPTIMISER],
  ['pooling', REMADE_BY_OPTIMISER],
  ['mixed-models', REMADE_BY_OPTIMISER],
  ['mixed-profiles', REMADE_BY_OPTIMISER],
  ['separation', REMADE_BY_OPTIMISER],
  ['survival-doubt', REMADE_BY_OPTIMISER],
  ['pooled-doubt', REMADE_BY_OPTIMISER],
  ['turnbull', REMADE_BY_OPTIMISER],
  ['turnbull-awkward', REMADE_BY_OPTIMISER],
  ['noncentral-t', REMADE],
  ['intraclass', REMADE_BY_OPTIMISER],
  ['method-comparison', REMADE],
  ['weighted-kappa', REMADE],
  ['ratio-of-means', REMADE],
];

const IMPORT_FILES = ['potthoff-roy-1964', 'elston-grizzle-1962'].flatMap((series) => [
  join(series, 'patients.csv'),
  join(series, 'measurements.csv'),
]);

function runScript(script: string, folder: string): void {
  const run = spawnSync('Rscript', [`${script}.R`, folder], { cwd: referencePath('r'), encoding: 'utf8' });
  expect(run.status, run.stderr).toBe(0);
}

/** Places where two JSON values differ by more than the tolerance; numbers near zero by more than 1e-12. */
function differences(made: unknown, kept: unknown, tolerance: number, path: string): string[] {
  if (path === '$.meta') return [];
  if (typeof made === 'number' && typeof kept === 'number') {
    const near = Math.abs(made - kept) <= Math.max(tolerance * Math.abs(kept), 1e-12);
    return near ? [] : [`${path}: R says ${made}, the fixture ${kept}`];
  }
  if (isContainer(made) && isContainer(kept)) {
    const keys = new Set([...Object.keys(made), ...Object.keys(kept)]);
    return [...keys].flatMap((key) => differences(made[key], kept[key], tolerance, `${path}.${key}`));
  }
  return made === kept ? [] : [`${path}: R says ${String(made)}, the fixture ${String(kept)}`];
}

function isContainer(value: unknown): value is Record<string, unknown> {
  return typeof value === 'object' && value !== null;
}

describe.skipIf(!rIsThere(PACKAGES))('the committed reference numbers come out of R', () => {
  let folder = '';
  beforeAll(() => {
    folder = mkdtempSync(join(tmpdir(), 'longhold-reference-'));
  });
  afterAll(() => rmSync(folder, { recursive: true, force: true }));

  it.each(JSON_SCRIPTS)('%s', { timeout: 60_000 }, (script, tolerance) => {
    runScript(script, folder);
    const read = (path: string): unknown => JSON.parse(readFileSync(path, 'utf8'));
    const made = read(join(folder, `${script}.json`));
    const kept = read(referencePath('fixtures', `${script}.json`));
    expect(differences(made, kept, tolerance, '$')).toEqual([]);
  });

  it('the import files of the two published growth series, byte for byte', { timeout: 60_000 }, () => {
    runScript('import-files', folder);
    for (const file of IMPORT_FILES) {
      expect(readFileSync(join(folder, file), 'utf8')).toBe(
        readFileSync(referencePath('data', file), 'utf8'),
      );
    }
  });
});
