/**
 * The project's tests, with one closing line that counts them: `N passed, N failed, N skipped`.
 * Skipped are those that need R, a browser or an Electron binary where there is none.
 * LONGHOLD_NOTHING_SKIPPED=1 (set in CI) makes a skipped test a failure.
 */
import { spawnSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { buildIfStale } from './build-if-stale.mjs';

await buildIfStale();

const folder = mkdtempSync(join(tmpdir(), 'longhold-test-'));
const results = join(folder, 'results.json');
const vitest = join('node_modules', 'vitest', 'vitest.mjs');
const run = spawnSync(
  process.execPath,
  [
    vitest,
    'run',
    '--reporter=default',
    '--reporter=json',
    `--outputFile.json=${results}`,
    ...process.argv.slice(2),
  ],
  { stdio: 'inherit' },
);

const counts = readCounts();
rmSync(folder, { recursive: true, force: true });

const forbiddenSkips = process.env.LONGHOLD_NOTHING_SKIPPED === '1' ? counts.skipped : 0;
if (forbiddenSkips > 0) {
  console.error(`\n${forbiddenSkips} tests were skipped, and here none may be:`);
  for (const name of counts.skippedNames) console.error(`  ${name}`);
}
const broken = run.status !== 0 && counts.failed === 0 ? 1 : 0;
const failed = counts.failed + broken + forbiddenSkips;
const skipped = counts.skipped - forbiddenSkips;
console.log(`\n${counts.passed} passed, ${failed} failed${skipped > 0 ? `, ${skipped} skipped` : ''}`);
process.exitCode = failed > 0 ? 1 : 0;

/** Counts from the report; a run that left none counts as one failure. */
function readCounts() {
  try {
    const report = JSON.parse(readFileSync(results, 'utf8'));
    const skippedNames = report.testResults.flatMap((file) =>
      file.assertionResults
        .filter((test) => test.status === 'pending' || test.status === 'skipped')
        .map((test) => test.fullName),
    );
    return {
      passed: report.numPassedTests,
      failed: report.numFailedTests,
      skipped: report.numTotalTests - report.numPassedTests - report.numFailedTests,
      skippedNames,
    };
  } catch (error) {
    console.error(`the test run left no report: ${error.message}`);
    return { passed: 0, failed: 1, skipped: 0, skippedNames: [] };
  }
}
