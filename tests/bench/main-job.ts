import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { cpus, tmpdir } from 'node:os';
import { join } from 'node:path';
import { answerOutcome } from '@longhold/core/answers';
import { mergeStudy, readImport } from '@longhold/core/intake';
import { recallList, recallSettingsSchema } from '@longhold/core/recall';
import { demoFiles, DEMO_TODAY } from '@longhold/demo';
import { createStore } from '../../apps/desktop/host/store';

/**
 * Times the steps of the main job, from files to answer, at three sizes, and shows the cost of one patient at each:
 * a step whose cost per patient grows is not linear. Prints a table and writes it, with machine and versions, to a
 * file. Numbers are for reading; nothing is asserted.
 */
const SIZES = [100, 1_000, 10_000];
const SEED = 7;

interface Timing {
  readonly step: string;
  readonly patients: number;
  readonly milliseconds: number;
}

const migrationsFolder = join(process.cwd(), 'apps/desktop/host/store/migrations');
const timings: Timing[] = [];

async function timed<T>(step: string, patients: number, work: () => T | Promise<T>): Promise<T> {
  const started = performance.now();
  const result = await work();
  timings.push({ step, patients, milliseconds: performance.now() - started });
  return result;
}

async function runMainJob(patients: number): Promise<void> {
  const folder = mkdtempSync(join(tmpdir(), 'longhold-bench-'));
  try {
    const files = await timed('draw the invented study', patients, () => demoFiles({ seed: SEED, patients }));
    const texts = {
      patients: files['patients.csv'],
      measurements: files['measurements.csv'],
      events: files['events.csv'],
    };
    const reading = await timed('read and check the files', patients, () => readImport(texts));
    if (!reading.ok) throw new Error('the invented files have faults');
    const merge = await timed('compare with the store', patients, () => mergeStudy([], reading.study));
    const store = await createStore({
      path: join(folder, 'bench.longhold'),
      passphrase: 'bench passphrase',
      migrationsFolder,
    });
    try {
      await timed('write to the encrypted store', patients, () =>
        store.applyImport({
          touched: merge.touched,
          touchedTables: [],
          counts: merge.changes,
          fingerprint: 'bench',
          at: '2026-01-01T00:00:00Z',
          actor: 'bench',
        }),
      );
      const study = await timed('read from the encrypted store', patients, () => store.readStudy());
      await timed('recall list', patients, () =>
        recallList(study, DEMO_TODAY, recallSettingsSchema.parse({})),
      );
      await timed('answer without intervals of the curve (50 resamples)', patients, () =>
        answerOutcome(study, { resamples: 50 }),
      );
      await timed('answer in full (500 resamples)', patients, () => answerOutcome(study, { resamples: 500 }));
    } finally {
      await store.close();
    }
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

function table(): string {
  const steps = [...new Set(timings.map(({ step }) => step))];
  const cell = (step: string, patients: number): string => {
    const found = timings.find((timing) => timing.step === step && timing.patients === patients);
    if (found === undefined) return '';
    return `${found.milliseconds.toFixed(0)} ms (${(found.milliseconds / patients).toFixed(3)} each)`;
  };
  const rows = steps.map((step) => `| ${step} | ${SIZES.map((size) => cell(step, size)).join(' | ')} |`);
  return [
    `| step | ${SIZES.map((size) => `${size.toLocaleString('en')} treated patients`).join(' | ')} |`,
    `| --- |${SIZES.map(() => ' --- |').join('')}`,
    ...rows,
  ].join('\n');
}

for (const size of SIZES) await runMainJob(size);
const report = [
  `# Bench of the main job`,
  '',
  `${new Date().toISOString().slice(0, 10)}, Node ${process.version}, ${cpus().length} cores (${cpus()[0]?.model ?? 'unknown'}), seed ${SEED}. In brackets: ms for each treated patient; two untreated children come with every five.`,
  '',
  table(),
  '',
].join('\n');
console.log(report);
writeFileSync('bench-results.md', report);
