import type {
  ExpectedCourse,
  OutcomeAnswer,
  PlanningAnswer,
  PlanningInput,
  SensitivityAnswer,
} from '@longhold/core/answers';
import type { Refusal } from '@longhold/core/numeric';
import { existsSync } from 'node:fs';
import { mkdir, readdir } from 'node:fs/promises';
import { homedir } from 'node:os';
import { dirname, isAbsolute, join } from 'node:path';
import type { Bundle } from './bundle';
import { openDemoStore } from './demo-store';
import { HostFailure, toFailure } from './failure';
import { AnswerJobs } from './jobs/answer-jobs';
import { AnswerWorker } from './jobs/answer-worker';
import { ReportComputer, type ReportStudy } from './jobs/report-computer';
import { OpenStudy, type PoolMaking } from './open-study';
import type { Report } from './report';
import { createStore, openStore } from './store';
import { Turns } from './store/turns';

/** What the host needs of the world around it. */
export interface HostOptions extends Pick<Bundle, 'version' | 'migrationsFolder' | 'workerFile'> {
  readonly clock?: () => Date;
  /** Where a clinic's stores are looked for and suggested; made when the first one is created there. */
  readonly storesFolder?: string;
  /** Who the audit trail names for changes made through this host. */
  readonly actor?: string;
}

/** Reports of large groups hold many megabytes. */
const REPORTS_KEPT = 2;

interface Opened {
  readonly study: OpenStudy;
  /** Closes the store, and removes it where it was the demo's. */
  readonly release: () => Promise<void>;
}

/** The clinic's local server: at most one open store, the questions asked of it, and their answers. */
export class Host {
  readonly version: string;
  readonly storesFolder: string;
  readonly jobs: AnswerJobs<OutcomeAnswer>;
  /** The same questions answered with one thing changed at a time, in a thread of their own. */
  readonly sensitivity: AnswerJobs<SensitivityAnswer>;
  /** Reports on these questions. */
  readonly reports: AnswerJobs<Report, ReportStudy>;
  readonly #worker: AnswerWorker;
  readonly #making: PoolMaking;
  readonly #migrationsFolder: string;
  readonly #clock: () => Date;
  readonly #actor: string;
  /** Opening and closing take turns, so that two of them at once can't leave a store open that nobody knows of. */
  readonly #turns = new Turns();
  #open: Opened | null = null;

  constructor(options: HostOptions) {
    this.version = options.version;
    this.storesFolder = options.storesFolder ?? join(homedir(), 'Longhold');
    this.#worker = new AnswerWorker(options.workerFile);
    this.#making = { worker: new AnswerWorker(options.workerFile), software: options.version };
    const turns = new Turns();
    this.jobs = new AnswerJobs(this.#worker.answers, { turns });
    this.sensitivity = new AnswerJobs(new AnswerWorker(options.workerFile).sensitivities);
    const parts = { answers: this.jobs, sensitivities: this.sensitivity, worker: this.#worker, turns };
    this.reports = new AnswerJobs(new ReportComputer({ ...parts, version: options.version }), {
      kept: REPORTS_KEPT,
    });
    this.#migrationsFolder = options.migrationsFolder;
    this.#clock = options.clock ?? (() => new Date());
    this.#actor = options.actor ?? 'Longhold';
  }

  /** The open store; null while none is. */
  get open(): OpenStudy | null {
    return this.#open?.study ?? null;
  }

  requireOpen(): OpenStudy {
    if (this.open !== null) return this.open;
    throw new HostFailure('no-store-open', 'No store is open. Open one, create one, or open the demo.');
  }

  /** The expected course of one patient of an answer. */
  course(job: string, code: string): Promise<ExpectedCourse | null> {
    const { study, question } = this.jobs.asked(job);
    return evenIfStopped(() => this.#worker.course(study, question, code));
  }

  /** How many patients and years would tell the lasting gain, from the variances behind an answer. */
  planning(job: string, input: PlanningInput): Promise<PlanningAnswer | Refusal> {
    const { study, question } = this.jobs.asked(job);
    return evenIfStopped(() => this.#worker.planning(study, question, input));
  }

  /** Full paths of the stores in the usual folder, in alphabetical order; none where it can't be read. */
  async existingStores(): Promise<string[]> {
    const names = await readdir(this.storesFolder).catch(() => []);
    return names
      .filter((name) => name.endsWith('.longhold'))
      .sort()
      .map((name) => join(this.storesFolder, name));
  }

  openDemo(): Promise<void> {
    return this.#replace(async () => {
      const { store, today, discard } = await openDemoStore(
        this.#migrationsFolder,
        this.#clock().toISOString(),
      );
      const study = new OpenStudy(store, today, this.#clock, this.#actor, this.#making);
      return {
        study,
        release: async () => {
          await study.close();
          await discard();
        },
      };
    });
  }

  createStore(path: string, passphrase: string): Promise<void> {
    requireFullPath(path);
    return this.#replace(async () => {
      if (dirname(path) === this.storesFolder && !existsSync(this.storesFolder)) {
        await mkdir(this.storesFolder, { recursive: true, mode: 0o700 });
      }
      const store = await createStore({ path, passphrase, migrationsFolder: this.#migrationsFolder });
      const study = new OpenStudy(store, null, this.#clock, this.#actor, this.#making);
      return { study, release: () => study.close() };
    });
  }

  openStore(path: string, passphrase: string): Promise<void> {
    requireFullPath(path);
    return this.#replace(async () => {
      const store = await openStore({ path, passphrase, migrationsFolder: this.#migrationsFolder });
      const demo = await store.readSetting('demo');
      const study = new OpenStudy(store, demo?.today ?? null, this.#clock, this.#actor, this.#making);
      return { study, release: () => study.close() };
    });
  }

  /** Closes the open store, if any; its questions are forgotten. */
  closeStore(): Promise<void> {
    return this.#turns.take(() => this.#swap(null));
  }

  /** Closes everything; the host is of no use afterwards. */
  close(): Promise<void> {
    return this.closeStore();
  }

  /** Opens another store. The one that is open stays open when the other can't be opened. */
  #replace(opening: () => Promise<Opened>): Promise<void> {
    return this.#turns.take(async () => this.#swap(await opening()));
  }

  /** The new store counts from the first moment, so that a fault in closing the old one can't leave it unknown. */
  async #swap(opened: Opened | null): Promise<void> {
    const before = this.#open;
    this.#open = opened;
    await Promise.all([this.reports.forget(), this.jobs.forget(), this.sensitivity.forget()]);
    await before?.release();
    await this.#making.worker.stop();
  }
}

/** A relative path would mean another file depending on where the program was started. */
function requireFullPath(path: string): void {
  if (isAbsolute(path)) return;
  throw new HostFailure('invalid-input', `Give the full path of the store, not only ${path}.`);
}

/** Stopping an answer ends the thread that was about to do this; a new thread can. */
async function evenIfStopped<T>(ask: () => Promise<T>): Promise<T> {
  try {
    return await ask();
  } catch (thrown) {
    if (toFailure(thrown).reason !== 'stopped') throw thrown;
    return ask();
  }
}
