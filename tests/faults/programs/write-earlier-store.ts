/**
 * Made the committed stores of tests/faults/fixtures, run in the program of the day (see the README there): a few invented
 * patients, one event recorded by hand, settings, and what a linked clinic keeps of pooling; beside it, as JSON, what that
 * program read back. Argument: path of the store to make.
 */
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { createStore, emptyBook, takeDocument, type PoolingDocument } from '@longhold/desktop/host/store';
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
await store.changePooling(
  {
    basedOn: store.revision(),
    put: linkedClinic(),
    remove: [],
    note: { action: 'pooling-linked', patient: null, after: {} },
  },
  AUTHORSHIP,
);
const { book } = await store.readPooling();
const read = {
  revision: store.revision(),
  study: await store.readStudy(),
  audit: await store.auditTrail({ limit: 1000 }),
  settings: { demo: await store.readSetting('demo'), views: await store.readSetting('views') },
  pooling: Object.fromEntries(
    Object.entries(book).map(([kind, documents]) => [kind, Object.fromEntries(documents)]),
  ),
};
await store.close();
writeFileSync(`${path}.json`, `${JSON.stringify(read)}\n`);

/** An invented clinic that sent one record and withdrew a patient, as the program of the day writes it down. */
function linkedClinic(): PoolingDocument[] {
  const id = (last: string): string => `6b0e3b1c-2f54-4a8e-9d07-1c5a2e4f7b${last}`;
  const pseudonym = '00112233445566778899aabbccddeeff';
  const at = AUTHORSHIP.at;
  const record = {
    pseudonym,
    group: 'treated',
    sex: 'female',
    ageMonths: 151,
    protocol: null,
    expansion: false,
    maturityStart: 'CS3',
    yearsPassed: 2,
    visits: [{ kind: 'end_of_active', day: 0, values: [] }],
    events: [],
  };
  const contents: readonly (readonly [PoolingDocument['kind'], string, unknown])[] = [
    [
      'link',
      'link',
      {
        role: 'centre',
        address: 'https://pool.example',
        study: id('01'),
        member: id('02'),
        device: id('03'),
        linkedAt: at,
        token: 'A'.repeat(43),
        tokenSince: at,
        epoch: id('04'),
        cursor: 2,
        definition: null,
        lastSent: at,
        lastChecked: at,
        fault: null,
      },
    ],
    ['secret', id('01'), { secret: '0'.repeat(64) }],
    [
      'head',
      pseudonym,
      {
        version: '1'.repeat(64),
        definition: 1,
        sequence: 1,
        record,
        own: true,
        keptAgainst: null,
        earlier: [],
      },
    ],
    [
      'sent',
      id('05'),
      {
        at,
        study: id('01'),
        definition: 1,
        records: 1,
        withdrawals: 1,
        conflicts: 0,
        refusedAsWithdrawn: 0,
      },
    ],
    [
      'withdrawal',
      'ffeeddccbbaa99887766554433221100',
      {
        study: id('01'),
        code: null,
        reason: 'asked-for',
        askedAt: at,
        pending: false,
        receipt: { id: id('06'), sequence: 2, versionsRemoved: 1, month: '2026-03' },
      },
    ],
  ];
  const parsed = emptyBook();
  for (const [kind, key, content] of contents) {
    if (!takeDocument(parsed, kind, key, content)) throw new Error(`no document of the kind ${kind}`);
  }
  return [
    ...[...parsed.link].map(([key, value]) => ({ kind: 'link' as const, key, value })),
    ...[...parsed.secret].map(([key, value]) => ({ kind: 'secret' as const, key, value })),
    ...[...parsed.head].map(([key, value]) => ({ kind: 'head' as const, key, value })),
    ...[...parsed.sent].map(([key, value]) => ({ kind: 'sent' as const, key, value })),
    ...[...parsed.withdrawal].map(([key, value]) => ({ kind: 'withdrawal' as const, key, value })),
  ];
}
