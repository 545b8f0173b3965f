import type { OutcomeQuestion } from '@longhold/core/answers';
import type { ImportedTable } from '@longhold/core/growth';
import { basename } from 'node:path';
import {
  faultText,
  mergeStudy,
  type ChangeCounts,
  type Fault,
  type ImportTexts,
} from '@longhold/core/intake';
import type { IsoDate, PatientEvent, Study } from '@longhold/core/records';
import { compareImport } from './compare-import';
import type { AnswerWorker, KeyedStudy } from './jobs/answer-worker';
import type { ReportStudy } from './jobs/report-computer';
import type { GrowthTableKey, SavedView, Store } from './store';
import { HostFailure } from './failure';
import { poolBeside } from './pooling/pool-beside';
import { Pooling } from './pooling/pooling';

/** What an import did, or would do. */
export interface ImportResult {
  readonly applied: boolean;
  readonly faults: readonly Fault[];
  /** Null where there are faults: then nothing was compared, and nothing written. */
  readonly changes: ChangeCounts | null;
  readonly fingerprint: string;
}

/** What a store holds: its patients and its growth tables. */
interface Records {
  readonly study: Study;
  readonly tables: readonly ImportedTable[];
}

/** Who makes what would leave for a pool beside the host's own thread. */
export interface PoolMaking {
  readonly worker: AnswerWorker;
  /** Version of the program. */
  readonly software: string;
}

/** The store that is open, with its records kept in memory until the store changes. */
export class OpenStudy {
  readonly store: Store;
  /** Pooling with other clinics. */
  readonly pooling: Pooling;
  readonly #demoToday: IsoDate | null;
  readonly #clock: () => Date;
  readonly #actor: string;
  #reports = 0;
  #cached: { revision: number; records: Promise<Records> } | null = null;

  /** @param making the thread that makes what would leave for a pool; null where it is made in this one */
  constructor(
    store: Store,
    demoToday: IsoDate | null,
    clock: () => Date,
    actor: string,
    making: PoolMaking | null = null,
  ) {
    this.store = store;
    this.#demoToday = demoToday;
    this.#clock = clock;
    this.#actor = actor;
    this.pooling = new Pooling({
      store,
      isDemo: demoToday !== null,
      study: async () => (await this.study()).study,
      today: () => this.today,
      now: clock,
      authorship: () => this.#authorship(),
      recordsKept: (from, to) => this.#keepRecords(from, to),
      thread:
        making === null
          ? null
          : {
              software: making.software,
              make: async (state, task, follow) =>
                making.worker.pooling(await this.keyedStudy(), state, task, follow),
              stop: () => making.worker.stop(),
            },
    });
  }

  /** Ends what is under way with the pooling service, then closes the store. */
  async close(): Promise<void> {
    await this.pooling.close();
    await this.store.close();
  }

  get name(): string {
    return this.isDemo ? 'Invented demo' : basename(this.store.path).replace(/\.longhold$/, '');
  }

  get isDemo(): boolean {
    return this.#demoToday !== null;
  }

  /** The day on which the records are looked at: the demo's own, else the clock's. */
  get today(): IsoDate {
    return this.#demoToday ?? this.#clock().toISOString().slice(0, 10);
  }

  /** The records as the store holds them now, read again only when another revision is there. */
  async study(): Promise<Records & { readonly revision: number }> {
    const revision = await this.store.latestRevision();
    if (this.#cached?.revision !== revision) {
      const reading = this.#readRecords();
      this.#cached = { revision, records: reading };
      // A reading that failed must not be what the next caller gets.
      reading.catch(() => (this.#cached = null));
    }
    return { revision, ...(await this.#cached.records) };
  }

  async #readRecords(): Promise<Records> {
    const [study, tables] = await Promise.all([this.store.readStudy(), this.store.readGrowthTables()]);
    return { study, tables };
  }

  /** A question as of today where it names no day: on screen, those who have stayed away since the last record count. */
  asOfToday(question: OutcomeQuestion): OutcomeQuestion {
    return { ...question, asOf: question.asOf ?? this.today };
  }

  /** The records with a name for exactly this state of them. */
  async keyedStudy(): Promise<KeyedStudy> {
    const { revision, study, tables } = await this.study();
    const source = { storeName: this.name, demo: this.isDemo };
    return { key: `${this.store.path}@${revision}`, study, tables, source };
  }

  /**
   * The records as a report is made of them.
   * @param withPool whether the pooling service is asked what the pool says; it is not where the store is not linked
   */
  async reportStudy(withPool: boolean): Promise<ReportStudy> {
    const records = await this.keyedStudy();
    if (!withPool) {
      const askPool: ReportStudy['askPool'] = async () => ({ kind: 'none', why: 'left-out' });
      return { ...records, key: `${records.key} without pool`, records, askPool };
    }
    return {
      ...records,
      // The pool may answer otherwise the next time, so that no report with it is given out twice.
      key: `${records.key} with pool ${++this.#reports}`,
      records,
      askPool: (stop) => poolBeside(this.pooling, stop),
    };
  }

  /** Reads and compares the files; writes nothing. */
  async previewImport(texts: ImportTexts): Promise<ImportResult> {
    const { study, tables } = await this.study();
    return compareImport(texts, study, tables).result;
  }

  /** Reads the files and writes what is new or changed, all of it or nothing. */
  async applyImport(texts: ImportTexts): Promise<ImportResult> {
    if (this.isDemo) {
      throw new HostFailure(
        'demo-is-fixed',
        'The invented demo takes no other records. Create or open a store of your own.',
      );
    }
    const { study, tables } = await this.study();
    const { result, touched, touchedTables } = compareImport(texts, study, tables);
    if (result.changes === null || touched.length + touchedTables.length === 0)
      return { ...result, applied: result.changes !== null };
    await this.store.applyImport({
      touched,
      touchedTables,
      fingerprint: result.fingerprint,
      counts: result.changes,
      ...this.#authorship(),
    });
    return { ...result, applied: true };
  }

  /** Writes one event of one patient, under the same checks as an imported one. */
  async recordEvent(code: string, event: PatientEvent): Promise<void> {
    const { study } = await this.study();
    const history = study.find(({ patient }) => patient.code === code);
    if (history === undefined) {
      throw new HostFailure('unknown-patient', `There is no patient with the code ${code} in this store.`);
    }
    const { conflicts } = mergeStudy(study, [{ patient: history.patient, visits: [], events: [event] }]);
    const [conflict] = conflicts;
    if (conflict !== undefined) throw new HostFailure('invalid-input', faultText(conflict));
    await this.store.recordEvent({ code, ...event, ...this.#authorship() });
  }

  /** Takes an imported growth table away; one that is not there is no fault. */
  removeGrowthTable({ name, measure }: GrowthTableKey): Promise<void> {
    return this.store.removeGrowthTable({ name, measure }, this.#authorship());
  }

  /** Questions saved under a name, in alphabetical order. */
  async savedViews(): Promise<SavedView[]> {
    const views = (await this.store.readSetting('views')) ?? [];
    return [...views].sort((a, b) => a.name.localeCompare(b.name));
  }

  /** Saves a question under a name, in place of one of the same name. */
  saveView(view: SavedView): Promise<void> {
    return this.#writeViews(async () => [
      ...(await this.savedViews()).filter(({ name }) => name !== view.name),
      view,
    ]);
  }

  /** Gives a saved question another name, in place of one that has it; one that is not there is no fault. */
  renameView(from: string, to: string): Promise<void> {
    return this.#writeViews(async () => {
      const views = await this.savedViews();
      const renamed = views.find(({ name }) => name === from);
      if (renamed === undefined) return views;
      return [...views.filter(({ name }) => name !== from && name !== to), { ...renamed, name: to }];
    });
  }

  /** Takes a saved question away; one that is not there is no fault. */
  removeView(name: string): Promise<void> {
    return this.#writeViews(async () => (await this.savedViews()).filter((view) => view.name !== name));
  }

  /** The records stay what they are, so the study in memory stays good for the store's new revision. */
  async #writeViews(views: () => Promise<SavedView[]>): Promise<void> {
    const { revision } = await this.study();
    await this.store.writeSetting('views', await views(), this.#authorship());
    if ((await this.store.latestRevision()) === revision + 1) this.#keepRecords(revision, revision + 1);
  }

  /** What made this revision from that one left the records as they were. */
  #keepRecords(from: number, to: number): void {
    if (this.#cached?.revision === from) this.#cached = { revision: to, records: this.#cached.records };
  }

  #authorship(): { at: string; actor: string } {
    return { at: this.#clock().toISOString(), actor: this.#actor };
  }
}
