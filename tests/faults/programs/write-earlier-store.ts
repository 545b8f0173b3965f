/**
 * Made the committed stores of tests/faults/fixtures, run in the program of the day (see the README there): a few invented
 * patients, one event recorded by hand, settings; beside it, as JSON, what that program read back. Argument: path of the
 * store to make.
 */
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { createStore } from '@longhold/desktop/host/store';
import { AUTHORSHIP, importOf, PASSPHRASE, QUICK_COSTS } from '@longhold/desktop/host/store/store.fixture';
import { generateDemo } from '@longhold/demo';

const KEPT_MEASURES = new Set(['Co-Gn', 'SNB', 'overjet']);

const [path = ''] = process.argv.slice(2);
const demo = generateDemo({ seed: 3, patients: 12 });
const study = demo.study.map((history) => ({
  ...history,
  visits: history.visits.map((visit) => ({
    ...visit,
    measurements: visit.measurements.filter(({ measure }) => KEPT_MEASURES.has(measure)),
  })),
}));
const treated = study.find(({ patient }) => patient.group === 'treated');
if (treated === undefined) throw new Error('no treated patient was invented');

const store = await createStore({
  path,
  passphrase: PASSPHRASE,
  migrationsFolder: join(process.cwd(), 'apps/desktop/host/store/migrations'),
  scryptCosts: QUICK_COSTS,
});
await store.applyImport(importOf([], study));
await store.recordEvent({ code: treated.patient.code, date: '2023-02-01', event: 'moved', ...AUTHORSHIP });
await store.writeSetting('demo', { today: demo.today }, AUTHORSHIP);
await store.writeSetting('views', [{ name: 'Girls', address: '#/outcomes/kept?sex=female' }], AUTHORSHIP);
const read = {
  revision: store.revision(),
  study: await store.readStudy(),
  audit: await store.auditTrail({ limit: 1000 }),
  settings: { demo: await store.readSetting('demo'), views: await store.readSetting('views') },
};
await store.close();
writeFileSync(`${path}.json`, `${JSON.stringify(read)}\n`);
