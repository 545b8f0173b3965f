import type {
  CentreSheet,
  ContributionWords,
  NotContributedReason,
  PooledRecord,
  RecordCoarsening,
  ResidualRisk,
  StudyDefinition,
  WithdrawalReason,
} from '@longhold/core/contribution';
import type { RefusalCode, Role } from '@longhold/core/exchange';
import type {
  CentreStatistics,
  MeasureStatistics,
  StatisticsRisk,
  StatisticsWords,
} from '@longhold/core/pooled';
import type { Sending } from '../store';

/*
 * What the screens and the command line are told of pooling. The clinic's own codes stand in it; none of it leaves but
 * what is called `record` and `sheet`.
 */

/** The study that this store is linked to. */
export interface PoolingLink {
  readonly role: Role;
  /** Of the service: https, or http on this very computer. */
  readonly address: string;
  /** Ids by which the service knows the study, this clinic in it, and this desktop. */
  readonly study: string;
  readonly member: string;
  readonly device: string;
  /** Which of its role this member is; null for a link from before members had numbers. */
  readonly number: number | null;
  /** ISO 8601, universal time. */
  readonly linkedAt: string;
}

/** The last exchange with the service that did not end well. */
export interface PoolingFault {
  readonly at: string;
  /** The service's own code; `unreachable` where it gave no answer that the protocol has. */
  readonly code: RefusalCode | 'unreachable';
  /** What was wrong and what to do, in sentences that may be shown. */
  readonly message: string;
}

/** What stands at a glance; cheap to ask for. */
export interface PoolingState {
  /** Null while this store is linked to no study. */
  readonly link: PoolingLink | null;
  /** The study definition in force when the service was last asked; null before that, or before there is one. */
  readonly definition: { readonly version: number; readonly definition: StudyDefinition } | null;
  /** Confirmed for sending and not acknowledged yet. It is sent at the next occasion. */
  readonly outbox: {
    readonly batches: number;
    readonly records: number;
    readonly withdrawals: number;
    /** Whether the clinic's sheet (method errors and flow) waits too. */
    readonly sheet: boolean;
    /** Whether statistics wait, or that they are taken out. */
    readonly statistics: boolean;
  };
  /** What a person chose that this clinic sends; null before. */
  readonly sends: Sending | null;
  /** Statistics of this clinic, as far as the service was asked. */
  readonly statistics: {
    /** Digest of those that the service holds; null for none. */
    readonly held: string | null;
    /** Whether another desktop of the clinic sent them, and they are not known to be what this one would send. */
    readonly isOthers: boolean;
    /** Patients in them; null where that is not known, because another desktop sent them. */
    readonly patients: number | null;
  };
  /** Records of this clinic that the service holds, as far as it was asked. */
  readonly inPool: number;
  /** Patients withdrawn for good, by this desktop or another one of the clinic. */
  readonly withdrawn: number;
  /** Whether this desktop ever had records or statistics acknowledged in this study. */
  readonly everSent: boolean;
  readonly lastSent: string | null;
  /** When the service last answered. */
  readonly lastChecked: string | null;
  readonly fault: PoolingFault | null;
  readonly running: boolean;
}

/** What stands after this store was unlinked. */
export interface Unlinked extends PoolingState {
  /** What a person still has to do because the service did not take the access back; null where it did. */
  readonly accessLeft: string | null;
}

/** How an exchange with the service goes on; at most one runs at a time. */
export interface PoolingProgress {
  readonly state: 'idle' | 'running' | 'done' | 'stopped' | 'failed';
  /** What is being done, such as "Sending records"; empty while idle. */
  readonly step: string;
  /** Records stored and patients withdrawn, of those to be sent in this run. */
  readonly acknowledged: number;
  readonly total: number;
  /** What became of what was sent in this run, a sentence each; empty where nothing was answered yet. */
  readonly said: readonly string[];
  /** Set in the state `failed`. */
  readonly fault: PoolingFault | null;
}

/** What becomes of a record with the next sending. */
export type RecordStanding = 'new' | 'changed' | 'in-pool' | 'conflict';

/** Exactly what will leave, with what is said of it. The records themselves are asked for page by page. */
export interface PoolingPreview {
  /** Names exactly this content; sending asks for it. */
  readonly digest: string;
  /** Version of the study definition. */
  readonly definition: number;
  /** How many records stand how; `conflict` waits for a person's choice and is not sent. */
  readonly counts: Readonly<Record<RecordStanding, number>>;
  /** Whether anything would leave: records, withdrawals, or another sheet than the last one. */
  readonly somethingToSend: boolean;
  /** In plain words: what leaves, what was coarsened, what stays, who is left out, the remaining risk. */
  readonly words: ContributionWords;
  /** What the next sending changes in the pool, one sentence each. */
  readonly changes: readonly string[];
  readonly risk: ResidualRisk;
  /** Leaves: what the clinic says of itself as a whole. */
  readonly sheet: CentreSheet;
  readonly leftOut: readonly LeftOutPatient[];
  /** Withdrawn with the next exchange, before anything else, because consent is gone. */
  readonly withdrawals: readonly PatientInPool[];
  /**
   * Consent is gone of too many at once to be withdrawn unasked: they wait for a confirmation, which the digest names,
   * and no record leaves until then. Null where none wait.
   */
  readonly withdrawalsToConfirm: {
    readonly digest: string;
    readonly patients: readonly PatientInPool[];
  } | null;
  /** In the pool and not among this store's records. They stay in the pool unless withdrawn by `withdraw`. */
  readonly notInStore: readonly PatientInPool[];
  /** In the pool and not to be contributed as recorded now; the pool keeps what it has. */
  readonly heldBack: readonly PatientInPool[];
  /** Patients of this store who were withdrawn earlier and can never come back under their pseudonym. */
  readonly withdrawnForGood: readonly PatientInPool[];
}

export interface LeftOutPatient {
  readonly code: string;
  readonly pseudonym: string;
  readonly group: PooledRecord['group'];
  readonly reason: NotContributedReason;
  /** The reason as it is written. */
  readonly words: string;
}

export interface PatientInPool {
  /** The clinic's own code; null where the store has no such patient. */
  readonly code: string | null;
  readonly pseudonym: string;
  readonly reason: NotContributedReason | WithdrawalReason | 'withdrawn';
}

/** One record as it will leave, or as it is in the pool. */
export interface PreviewedRecord {
  readonly code: string;
  readonly standing: RecordStanding;
  readonly record: PooledRecord;
  readonly coarsening: RecordCoarsening;
  /** What the pool holds of this patient now; null where nothing. */
  readonly inPool: PooledRecord | null;
}

/** A page of a list. */
export interface Page<Row> {
  readonly total: number;
  readonly rows: readonly Row[];
}

/** One sending that the service has acknowledged. */
export interface SentBatch {
  /** ISO 8601, universal time. Stays in this store. */
  readonly at: string;
  readonly batch: string;
  /** Version of the study definition under which it was made. */
  readonly definition: number;
  /** Records that the service stored, or held already. */
  readonly records: number;
  readonly withdrawals: number;
  /** Records that it did not take, because another desktop of the clinic had sent another version. */
  readonly conflicts: number;
  /** Records of patients who had been withdrawn before. */
  readonly refusedAsWithdrawn: number;
  /** Set where statistics were sent in place of records. */
  readonly statistics: {
    /** Null where they were taken out of the pool. */
    readonly digest: string | null;
    readonly patients: number;
    /** What the service gave where patients were taken out; null where nobody was. */
    readonly receipt: WithdrawalReceipt | null;
  } | null;
}

/** What the service gave for a withdrawal: proof for the clinic's file. */
export interface WithdrawalReceipt {
  readonly id: string;
  readonly sequence: number;
  /** Null where the patient was counted in statistics. */
  readonly versionsRemoved: number | null;
  /** Patients who were taken out of statistics together; null where it was a record. */
  readonly patients: number | null;
  /** Such as 2026-03; the service keeps no finer time. */
  readonly month: string;
}

/** One patient taken out of the pool. */
export interface Withdrawal {
  readonly pseudonym: string;
  /** The clinic's own code; null where this store has no such patient. */
  readonly code: string | null;
  readonly reason: WithdrawalReason | 'asked-for' | 'by-another-desktop' | 'sends-statistics-now';
  readonly askedAt: string;
  /** Whether the service has not acknowledged it yet. */
  readonly pending: boolean;
  /** Null until the service has acknowledged it, and where another desktop withdrew the patient. */
  readonly receipt: WithdrawalReceipt | null;
}

/** Two versions of one patient's record: another desktop of the clinic sent one that this store does not have. */
export interface PoolingConflict {
  readonly code: string;
  readonly pseudonym: string;
  /** As this store would send it, and what names exactly this content. */
  readonly mine: PooledRecord;
  readonly mineDigest: string;
  /** As the service holds it, and the version that names it. */
  readonly theirs: PooledRecord;
  readonly theirsVersion: string;
}

/** A link file for a further desktop of the clinic. */
export interface LinkFile {
  /** A name to save it under. */
  readonly name: string;
  /** The whole content, sealed by the passphrase. */
  readonly text: string;
  /** When the enrolment code in it stops working; ISO 8601, universal time. */
  readonly expires: string;
}

/** What changing over from one way of sending to the other means; asked for before, and named when it is done. */
export interface SendingPlan {
  /** Null before there was a choice. */
  readonly from: Sending | null;
  readonly to: Sending;
  /** Patients whose records are taken out of the pool first, for good. */
  readonly recordsWithdrawn: number;
  /** Whether the clinic's statistics are taken out of the pool first. */
  readonly statisticsTakenOut: boolean;
  /** Why it can't be done; null where it can. */
  readonly refused: string | null;
  /** In sentences that may be shown. */
  readonly words: readonly string[];
  /** Names exactly this change. */
  readonly digest: string;
}

/** What stands in statistics row by row. */
export type StatisticsTable = 'losses' | 'endings' | 'gains';

/** A page of one such table. Each row has as many values as there are columns. */
export interface StatisticsRows {
  readonly total: number;
  readonly columns: readonly string[];
  readonly rows: readonly (readonly (string | number | null)[])[];
}

/** One measure of statistics; long tables are counted here and asked for page by page. */
export type MeasureSummary = Omit<MeasureStatistics, 'losses' | 'endings' | 'separation'> & {
  readonly losses: number;
  readonly endings: number;
  /** Patients with sums of their gains. */
  readonly gains: number;
  readonly separation: Omit<MeasureStatistics['separation'], 'patients'>;
};

/** Exactly what leaves in place of records, with what is said of it. */
export interface StatisticsPreview {
  /** Names exactly this content; sending asks for it. */
  readonly digest: string;
  /** Version of the study definition. */
  readonly definition: number;
  /** Digest of the statistics of the clinic at the service that these replace; null for none. */
  readonly replaces: string | null;
  /** Whether another desktop of the clinic sent those, so that replacing them has to be asked for. */
  readonly isOthers: boolean;
  /** How many patients the service is told to have withdrawn since. Leaves. */
  readonly withdrawn: number;
  /** Patients against those of the last statistics of this desktop. */
  readonly counts: {
    readonly new: number;
    readonly changed: number;
    readonly unchanged: number;
    readonly gone: number;
  };
  readonly somethingToSend: boolean;
  /** Why they can't be sent as they are, and what to do; null where they can. */
  readonly obstacle: string | null;
  readonly words: StatisticsWords & Pick<ContributionWords, 'coarsened' | 'leftOut'>;
  readonly changes: readonly string[];
  readonly risk: StatisticsRisk;
  /** Leaves, with the long tables. */
  readonly statistics: Omit<CentreStatistics, 'measures'> & { readonly measures: readonly MeasureSummary[] };
  readonly leftOut: readonly LeftOutPatient[];
  /** Taken out with the next exchange, because consent is gone. */
  readonly withdrawals: readonly PatientInPool[];
  /** Counted in the last statistics and not in these, though they did not withdraw. */
  readonly notInThem: readonly PatientInPool[];
  readonly withdrawnForGood: readonly PatientInPool[];
}

/** How the making of what would leave goes on. */
export interface MakingProgress {
  readonly running: boolean;
  readonly step: string;
  /** Share of the work that is done. */
  readonly fraction: number;
}
