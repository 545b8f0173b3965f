import { performance } from 'node:perf_hooks';
import { memberView, pooledAnswer, allCentreEstimates, centreStatistics } from '@longhold/core/pooled';
import {
  INVENTED_SHEET,
  inventedDefinition,
  inventedRecords,
} from '../../packages/core/src/pooled/invented-centres.fixture';

/**
 * Times the pooled answer: statistics of one centre from its records, estimates from its statistics (both are kept and
 * made anew for one centre only when that centre sends a batch), then the pool of all centres. Prints a table; nothing
 * is asserted.
 */
const CENTRES = [
  { centres: 5, patients: 200 },
  { centres: 20, patients: 10_000 },
  { centres: 200, patients: 1_000 },
];

const definition = inventedDefinition();
const context = { sheet: INVENTED_SHEET, definition, definitionVersion: 1, software: '0.1.0' };

function timed<Result>(work: () => Result): { readonly result: Result; readonly seconds: number } {
  const started = performance.now();
  const result = work();
  return { result, seconds: (performance.now() - started) / 1000 };
}

console.log(
  'centres | patients each | visits | statistics of one, s | estimates of one, s | pooled answer, s | view, s | heap, MB',
);
for (const { centres, patients } of CENTRES) {
  let visits = 0;
  let statisticsSeconds = 0;
  let estimatesSeconds = 0;
  const members = Array.from({ length: centres }, (_, i) => {
    const records = inventedRecords({ patients, seed: i + 1 });
    visits += records.reduce((sum, record) => sum + record.visits.length, 0);
    const made = timed(() => centreStatistics(records, context));
    const estimated = timed(() => allCentreEstimates(made.result, definition));
    statisticsSeconds += made.seconds / centres;
    estimatesSeconds += estimated.seconds / centres;
    return { centre: `centre ${i}`, statistics: made.result, estimates: estimated.result };
  });
  const pool = timed(() => pooledAnswer(members, definition, 1));
  const view = timed(() => memberView(pool.result, { kind: 'coordinator' }, definition));
  const heap = process.memoryUsage().heapUsed / 2 ** 20;
  console.log(
    [
      centres,
      patients,
      visits,
      ...[statisticsSeconds, estimatesSeconds, pool.seconds, view.seconds].map((s) => s.toFixed(2)),
      heap.toFixed(0),
    ].join(' | '),
  );
}
