import { spawnSync } from 'node:child_process';
import { mkdtempSync, rmSync, writeFileSync, appendFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { ANSWER_SPEED } from './answer-speed';
import { COX_SPEED } from './cox-speed';
import { INTERVAL_CENSORED_SPEED } from './interval-censored-speed';
import { MIXED_SPEED } from './mixed-speed';
import { RIGHT_CENSORED_SPEED } from './right-censored-speed';
import { SEPARATION_SPEED } from './separation-speed';
import type { SpeedCase, SpeedTrial } from './speed-case';

const CASES: readonly SpeedCase[] = [
  ...RIGHT_CENSORED_SPEED,
  ...COX_SPEED,
  ...INTERVAL_CENSORED_SPEED,
  ...MIXED_SPEED,
  ...SEPARATION_SPEED,
  ...ANSWER_SPEED,
];
const REPEATS = 5;
/** After this much time one timing is enough. */
const LONG_MILLISECONDS = 10_000;

/**
 * Times the statistics against R on the same data in the same run and prints a table: milliseconds, the ratio
 * R / ours (above 1: we are faster), and how the time grows from one size to the next. Nothing is asserted.
 */
function runSpeedCases(only: string | undefined): string {
  const folder = mkdtempSync(join(tmpdir(), 'longhold-bench-'));
  const rows: string[] = [];
  try {
    for (const speedCase of CASES) {
      if (only !== undefined && !speedCase.name.includes(only)) continue;
      let before: { size: number; milliseconds: number } | null = null;
      for (const size of speedCase.sizes) {
        const trial = speedCase.prepare(size);
        const ours = medianMilliseconds(trial.ours);
        const theirs = trial.r === undefined ? null : inR(trial.r, folder);
        const growth = before === null ? '' : growthText(before, { size, milliseconds: ours });
        rows.push(row(speedCase, size, ours, theirs, growth));
        console.log(rows.at(-1));
        before = { size, milliseconds: ours };
      }
    }
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
  return [
    '| what | n | ms | R, ms | R / ours | growth | wanted |',
    '| --- | ---: | ---: | ---: | ---: | --- | --- |',
    ...rows,
  ].join('\n');
}

function medianMilliseconds(work: () => unknown): number {
  work();
  const timings: number[] = [];
  for (let repeat = 0; repeat < REPEATS; repeat++) {
    const started = performance.now();
    work();
    timings.push(performance.now() - started);
    if ((timings[0] ?? 0) > LONG_MILLISECONDS) break;
  }
  return timings.sort((a, b) => a - b)[Math.floor(timings.length / 2)] ?? NaN;
}

/** Milliseconds of the same work in R, or null where R is missing or its script fails. */
function inR({ script, columns }: NonNullable<SpeedTrial['r']>, folder: string): number | null {
  const path = join(folder, `${script}.csv`);
  writeColumns(path, columns);
  const run = spawnSync('Rscript', [join('tests/bench/r', `${script}.R`), path], { encoding: 'utf8' });
  if (run.status !== 0) {
    console.error(`R could not run ${script}: ${run.error?.message ?? run.stderr}`);
    return null;
  }
  const printed: unknown = JSON.parse(run.stdout);
  const milliseconds =
    typeof printed === 'object' && printed !== null && 'milliseconds' in printed
      ? Number(printed.milliseconds)
      : NaN;
  return Number.isFinite(milliseconds) ? milliseconds : null;
}

function writeColumns(path: string, columns: Readonly<Record<string, ArrayLike<number>>>): void {
  const names = Object.keys(columns);
  const lists = Object.values(columns);
  writeFileSync(path, `${names.join(',')}\n`);
  const size = lists[0]?.length ?? 0;
  for (let from = 0; from < size; from += 100_000) {
    const lines: string[] = [];
    for (let i = from; i < Math.min(size, from + 100_000); i++) {
      lines.push(lists.map((list) => list[i] ?? '').join(','));
    }
    appendFileSync(path, `${lines.join('\n')}\n`);
  }
}

function growthText(
  before: { size: number; milliseconds: number },
  now: { size: number; milliseconds: number },
): string {
  const size = now.size / before.size;
  const time = now.milliseconds / before.milliseconds;
  return `size x ${size.toFixed(0)}, time x ${time.toFixed(1)}`;
}

function row(
  { name, wanted }: SpeedCase,
  size: number,
  ours: number,
  theirs: number | null,
  growth: string,
): string {
  const r = theirs === null ? ['', ''] : [theirs.toFixed(1), (theirs / ours).toFixed(1)];
  return `| ${name} | ${size} | ${ours.toFixed(ours < 10 ? 2 : 0)} | ${r.join(' | ')} | ${growth} | ${wanted} |`;
}

writeFileSync('bench-statistics.md', `${runSpeedCases(process.argv[2])}\n`);
