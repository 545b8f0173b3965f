import type { PoolingBook } from '../store';
import type {
  Page,
  PoolingConflict,
  PoolingPreview,
  PreviewedRecord,
  RecordStanding,
  StatisticsPreview,
  StatisticsRows,
  StatisticsTable,
} from './answers';
import { LatestContribution } from './latest-contribution';
import {
  LatestStatistics,
  madeStatistics,
  type MadeStatistics,
  type StatisticsGiven,
} from './made-statistics';
import { outgoing, sameAsHere, type Outgoing, type VersionHere } from './outgoing';
import { waitingWithdrawals } from './consent-withdrawals';
import { conflictsOf, previewedRecords, previewOf } from './preview';
import { statisticsPreviewOf, statisticsRows } from './statistics-preview';
import { withoutWithdrawn, type WithoutWithdrawn } from './without-withdrawn';

/** A page of the records that would leave. */
export interface RecordsPage {
  readonly digest: string;
  readonly standing: RecordStanding | null;
  readonly search: string;
  readonly offset: number;
  readonly limit: number;
}

/** A page of what stands in statistics row by row. */
export interface StatisticsPage {
  readonly digest: string;
  readonly measure: string;
  readonly table: StatisticsTable;
  readonly offset: number;
  readonly limit: number;
}

/** Of what would leave only what is needed to put it into the outbox. */
export type ToConfirm = Pick<Outgoing, 'digest' | 'version' | 'sheetIsNew'> & {
  readonly changes: Pick<Outgoing['changes'], 'fresh' | 'changed'>;
  readonly contribution: Pick<Outgoing['contribution'], 'sheet'>;
};

/** Of statistics only what is needed to put them into the outbox. */
export type StatisticsToConfirm = Pick<
  MadeStatistics,
  'digest' | 'counted' | 'replaces' | 'isOthers' | 'withdraws' | 'obstacle'
>;

/** What can be asked of who makes what would leave. */
export type MakingTask =
  | { readonly kind: 'preview' | 'conflicts' | 'to-confirm' | 'same-as-here' }
  | { readonly kind: 'records'; readonly page: RecordsPage }
  | { readonly kind: 'without-withdrawn' }
  | StatisticsTask;

/** What is asked of statistics as they would leave. */
type StatisticsTask =
  | { readonly kind: 'statistics' | 'statistics-preview' }
  | { readonly kind: 'statistics-text'; readonly digest: string }
  | { readonly kind: 'statistics-rows'; readonly page: StatisticsPage };

/** What is made, by the kind that was asked for; null where there is nothing, or it is another one than was named. */
export interface MadeOf {
  readonly preview: PoolingPreview | null;
  readonly conflicts: readonly PoolingConflict[];
  readonly 'to-confirm': ToConfirm | null;
  readonly 'same-as-here': readonly VersionHere[];
  readonly records: Page<PreviewedRecord> | null;
  readonly statistics: StatisticsToConfirm | null;
  readonly 'statistics-preview': StatisticsPreview | null;
  readonly 'statistics-text': string | null;
  readonly 'statistics-rows': StatisticsRows | null;
  readonly 'without-withdrawn': WithoutWithdrawn;
}

/** The same with its kind. */
export type Made = {
  [Kind in keyof MadeOf]: { readonly kind: Kind; readonly made: MadeOf[Kind] };
}[keyof MadeOf];

/** Told how far something is: a share of the work, and what is being done. */
export type Following = (fraction: number, step: string) => void;

/** What stays the same from one state of the store to the next, so that it is not made anew. */
export interface MadeBefore {
  readonly contributions: LatestContribution;
  readonly statistics: LatestStatistics;
}

export function nothingMade(): MadeBefore {
  const contributions = new LatestContribution();
  return { contributions, statistics: new LatestStatistics(contributions) };
}

/** What a clinic would send, made once for one state of its store and records, and read from by several questions. */
export class Making {
  readonly #given: StatisticsGiven;
  readonly #before: MadeBefore;
  #outgoing: Outgoing | null | undefined;
  #statistics: MadeStatistics | null | undefined;

  constructor(given: StatisticsGiven, before: MadeBefore) {
    this.#given = given;
    this.#before = before;
  }

  do(task: MakingTask, follow: Following): Made {
    const { book } = this.#given;
    switch (task.kind) {
      case 'preview': {
        const made = this.#records(follow);
        const waiting = waitingWithdrawals(this.#given.study, book);
        return { kind: task.kind, made: made === null ? null : previewOf(made, book, waiting) };
      }
      case 'records': {
        const made = this.#records(follow);
        const isIt = made?.digest === task.page.digest;
        return { kind: task.kind, made: isIt ? pageOfRecords(made, book, task.page) : null };
      }
      case 'conflicts': {
        const made = this.#records(follow);
        return { kind: task.kind, made: made === null ? [] : conflictsOf(made) };
      }
      case 'to-confirm': {
        const made = this.#records(follow);
        return { kind: task.kind, made: made === null ? null : toConfirm(made) };
      }
      case 'same-as-here':
        return { kind: task.kind, made: sameAsHere(this.#given) };
      case 'without-withdrawn':
        return { kind: task.kind, made: withoutWithdrawn(this.#given) };
      default:
        return this.#ofStatistics(task, this.#sums(follow));
    }
  }

  #ofStatistics(task: StatisticsTask, made: MadeStatistics | null): Made {
    switch (task.kind) {
      case 'statistics':
        return { kind: task.kind, made: made === null ? null : statisticsToConfirm(made) };
      case 'statistics-preview':
        return { kind: task.kind, made: made === null ? null : statisticsPreviewOf(made, this.#given.book) };
      case 'statistics-text': {
        const isIt = made?.digest === task.digest;
        return { kind: task.kind, made: isIt ? JSON.stringify(made.counted.statistics, null, 2) : null };
      }
      case 'statistics-rows': {
        const isIt = made?.digest === task.page.digest;
        return { kind: task.kind, made: isIt ? statisticsRows(made.counted.statistics, task.page) : null };
      }
    }
  }

  #records(follow: Following): Outgoing | null {
    if (this.#outgoing === undefined) {
      follow(0, 'Taking out of the records what never leaves');
      this.#before.contributions.make(this.#given);
      follow(0.7, 'Comparing with what the service holds');
      this.#outgoing = outgoing(this.#given, this.#before.contributions);
    }
    return this.#outgoing;
  }

  #sums(follow: Following): MadeStatistics | null {
    if (this.#statistics === undefined) {
      follow(0, 'Taking out of the records what never leaves');
      this.#before.contributions.make(this.#given);
      follow(0.3, 'Making sums and counts');
      this.#statistics = madeStatistics(this.#given, this.#before.statistics);
    }
    return this.#statistics;
  }
}

function pageOfRecords(
  made: Outgoing,
  book: PoolingBook,
  { standing, search, offset, limit }: RecordsPage,
): Page<PreviewedRecord> {
  const sought = search.trim().toLowerCase();
  const all = previewedRecords(made, book).filter(
    (row) => (standing === null || row.standing === standing) && row.code.toLowerCase().includes(sought),
  );
  return { total: all.length, rows: all.slice(offset, offset + limit) };
}

function toConfirm({ digest, version, sheetIsNew, changes, contribution }: Outgoing): ToConfirm {
  const { fresh, changed } = changes;
  return {
    digest,
    version,
    sheetIsNew,
    changes: { fresh, changed },
    contribution: { sheet: contribution.sheet },
  };
}

function statisticsToConfirm({
  digest,
  counted,
  replaces,
  isOthers,
  withdraws,
  obstacle,
}: MadeStatistics): StatisticsToConfirm {
  return { digest, counted, replaces, isOthers, withdraws, obstacle };
}
