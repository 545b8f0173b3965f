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
  };
  /** Records of this clinic that the service holds, as far as it was asked. */
  readonly inPool: number;
  /** Patients withdrawn for good, by this desktop or another one of the clinic. */
  readonly withdrawn: number;
  /** Whether this desktop ever had records acknowledged in this study. */
  readonly everSent: boolean;
  readonly lastSent: string | null;
  /** When the service last answered. */
  readonly lastChecked: string | null;
  readonly fault: PoolingFault | null;
  readonly running: boolean;
}

/** How an exchange with the service goes on; at most one runs at a time. */
export interface PoolingProgress {
  readonly state: 'idle' | 'running' | 'done' | 'stopped' | 'failed';
  /** What is being done, such as "Sending records"; empty while idle. */
  readonly step: string;
  /** Records and withdrawals acknowledged of those to be sent in this run. */
  readonly acknowledged: number;
  readonly total: number;
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
}

/** What the service gave for a withdrawal: proof for the clinic's file. */
export interface WithdrawalReceipt {
  readonly id: string;
  readonly sequence: number;
  readonly versionsRemoved: number;
  /** Such as 2026-03; the service keeps no finer time. */
  readonly month: string;
}

/** One patient taken out of the pool. */
export interface Withdrawal {
  readonly pseudonym: string;
  /** The clinic's own code; null where this store has no such patient. */
  readonly code: string | null;
  readonly reason: WithdrawalReason | 'asked-for' | 'by-another-desktop';
  readonly askedAt: string;
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
