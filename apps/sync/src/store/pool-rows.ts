import type { SetAsideReason } from '@longhold/core/exchange';

/*
 * What the store keeps for pooled answers: the sums of centres that send no records, statistics made from the records of
 * the others, and the answers that were released, with what each of them held.
 */

/** Whether a centre sends records, or statistics that it makes at home. */
export type Way = 'records' | 'statistics';

/** How things stand with one centre, without its records. */
export interface CentreRow {
  readonly member: string;
  /** Newest change of its records and its sheet; 0 where there is none. */
  readonly sequence: number;
  /** Definition of its sheet; null where it has sent none. */
  readonly sheetDefinition: number | null;
  /** The statistics that it made itself; null where it has none in the pool. */
  readonly federated: Pick<FederatedRow, 'definition' | 'sequence' | 'patients' | 'changedAtLeast'> | null;
}

/** How many records of a centre were made under one version of the definition. */
export interface RecordCount {
  readonly definition: number;
  readonly patients: number;
}

/** What a centre that sends no records sent last. */
export interface FederatedRow {
  readonly member: string;
  readonly definition: number;
  readonly sequence: number;
  /** SHA-256 of the body; null where the centre took its statistics out. */
  readonly digest: string | null;
  /** Patients in it, treated or not. */
  readonly patients: number;
  /** The least number of patients that changed since the last release that held the centre. */
  readonly changedAtLeast: number;
  /** Of these last ones: how many were withdrawn, with the receipt for them. */
  readonly withdrawn: number;
  readonly receipt: string | null;
  readonly month: string | null;
  /** The statistics as canonical JSON; null where taken out. */
  readonly body: string | null;
}

/** A centre's statistics as they are kept until something of the centre changes. */
export interface StatisticsRow {
  readonly member: string;
  /** Definition, way and sequence from which they were made: others are made anew. */
  readonly madeFrom: string;
  /** JSON; null where the centre made them itself, since they are with what it sent. */
  readonly body: string | null;
  /** JSON of the centre's own estimates. */
  readonly estimates: string;
}

/** A centre that is left out of the pool as it is, because nothing can be computed from what it sent. */
export interface SetAsideRow {
  readonly member: string;
  /** As in its statistics: once these would be made from something else, it is tried again. */
  readonly madeFrom: string;
  readonly reason: SetAsideReason;
}

/** What stays of a member who was taken out of the study. */
export interface RemovedMemberRow {
  readonly member: string;
  readonly receipt: string;
  readonly month: string;
  /** What the service held of it then; null for nothing. */
  readonly held: Way | null;
}

/** A pooled answer that was released to members. */
export interface ReleaseRow {
  readonly number: number;
  /** The study's newest change that it may hold. */
  readonly sequence: number;
  readonly definition: number;
  /** Whether the coordinator, who sees the centres, was given it too. */
  readonly toCoordinator: boolean;
}

/** One centre in a release. */
export interface ReleaseCentreRow {
  readonly member: string;
  readonly way: Way;
  /** Newest change of the centre that is in it. */
  readonly sequence: number;
  /** Patients of the centre in it, treated or not. */
  readonly patients: number;
  /** For statistics: the least number of patients that changed since the release before; else 0. */
  readonly changedAtLeast: number;
}

/** A release as one kind of viewer sees it, or the own part of one centre. JSON. */
export interface ReleaseViewRow {
  /** `coordinator`, `centre` or `reader`; for an own part the centre's member id. */
  readonly viewer: string;
  readonly body: string;
}

/** How many patients of the centres in a release changed since, by member. */
export interface ChangesSince {
  /** Records that are new or other than they were. */
  readonly changed: ReadonlyMap<string, number>;
  /** Patients in the release who were withdrawn since. */
  readonly withdrawn: ReadonlyMap<string, number>;
}

export interface PoolReader {
  /** Every centre, in the order of their ids. */
  centres(): Promise<CentreRow[]>;
  /** Reads every record of the centre: ask again only after its sequence has moved. */
  recordCounts(member: string): Promise<RecordCount[]>;
  sheetOf(member: string): Promise<{ readonly definition: number; readonly body: string } | null>;
  federatedOf(member: string): Promise<FederatedRow | null>;
  statisticsOf(member: string): Promise<StatisticsRow | null>;
  /** Which statistics are kept: `madeFrom` by member. */
  statisticsKept(): Promise<ReadonlyMap<string, string>>;
  /** Centres that are set aside, in the order of their ids; also those of which something changed since. */
  setAside(): Promise<SetAsideRow[]>;
  removedMember(member: string): Promise<RemovedMemberRow | null>;
  removedMembers(): Promise<RemovedMemberRow[]>;
  /** Newest first. */
  releases(): Promise<ReleaseRow[]>;
  releaseCentres(release: number): Promise<ReleaseCentreRow[]>;
  releaseView(release: number, viewer: string): Promise<string | null>;
  /** Whether there is anything of a release to show. */
  isShown(release: number): Promise<boolean>;
  /**
   * What changed since a release in the records of its centres. With `joined`, only patients of whom nothing was there
   * then count as changed: for releases under definitions for which all records were made anew.
   */
  changesSince(release: number, count: 'changed' | 'joined'): Promise<ChangesSince>;
  /** Views of releases that hold a patient who was withdrawn; 0 in a sound store. */
  viewsOfWithdrawn(): Promise<number>;
}

export interface PoolWriter extends PoolReader {
  putFederated(row: FederatedRow): Promise<void>;
  putStatistics(row: StatisticsRow): Promise<void>;
  /** Drops what was made of a centre, and that it is set aside: something of it changed. */
  dropStatistics(member: string): Promise<void>;
  putSetAside(row: SetAsideRow): Promise<void>;
  insertRemovedMember(row: RemovedMemberRow): Promise<void>;
  insertRelease(
    release: ReleaseRow,
    centres: readonly ReleaseCentreRow[],
    views: readonly ReleaseViewRow[],
  ): Promise<void>;
  /** Deletes the views of every release that holds anything of a centre from this sequence on. */
  dropViewsHolding(member: string, sequence: number): Promise<void>;
  /** Deletes the views of all other releases than these. */
  dropViewsExcept(releases: readonly number[]): Promise<void>;
}
