import type { LeftOutReason, NotSeenReason } from '../answers';
import type { Refusal } from '../numeric';
import type { Limits } from '../pooling';
import type { CentreLeftOut, ForestRow, PoolingScale, TwoStageMean, WithoutCentre } from './pool-centres';
import type { PooledCompetingYear } from './pooled-competing';
import type { OneStage } from './pooled-retention';
import type { ClockSpread } from './pooled-separation';
import type { ChiSquaredTest } from './pooled-survival';

/** Who looks at a pooled answer. */
export type Viewer =
  | { readonly kind: 'coordinator' }
  /** By the name that the answer has for the centre. */
  | { readonly kind: 'centre'; readonly centre: string }
  | { readonly kind: 'reader' };

/** A number of patients; null where it is withheld. */
export type ShownCount = number | null;

export type QuantityKind = 'retained-share' | 'survival' | 'lasting' | 'forward' | 'lasting-share';

/** A centre's row as it may be shown. */
export interface ViewedRow extends Omit<ForestRow, 'pooledAs'> {
  /** Null where rows are withheld beside it, since these would follow; and in an answer from before rows told it. */
  readonly pooledAs: ForestRow['pooledAs'] | null;
}

/** A mean over centres as a viewer may see it. The spread between centres is null where it is withheld. */
export interface ViewedMean extends Omit<
  TwoStageMean,
  'patients' | 'tauSquared' | 'tauSquaredLimits' | 'iSquared' | 'q' | 'qP'
> {
  readonly tauSquared: number | null;
  readonly tauSquaredLimits: Limits | null;
  readonly iSquared: number | null;
  readonly q: number | null;
  readonly qP: number | null;
}

/** All patients as one series. */
export type ViewedStage = Pick<OneStage, 'estimate' | 'interval'>;

/** A chi-squared test; its statistic is null where only p is told. */
export interface ViewedTest extends Omit<ChiSquaredTest, 'statistic'> {
  readonly statistic: number | null;
}

/** One quantity as a viewer may see it. */
export interface ViewedQuantity {
  readonly kind: QuantityKind;
  /** Null for what has no year. */
  readonly year: number | null;
  readonly scale: PoolingScale;
  /**
   * Patients of all centres behind it (at risk, for a curve). Null where they are too few, and then the estimates are
   * withheld too; or where this number would let another one be worked out.
   */
  readonly patients: ShownCount;
  /** Null where withheld. */
  readonly twoStage: ViewedMean | Refusal | null;
  readonly oneStage: ViewedStage | Refusal | null;
  /**
   * Between which shares a curve of all patients lies, where too few losses are behind it for the share itself to be told;
   * else null.
   */
  readonly between: Limits | null;
  /** The viewer's own centre beside the pool; null for others than a centre, and where it has no estimate. */
  readonly own: Omit<ForestRow, 'weight' | 'pooledAs'> | null;
  /** All centres whose rows may be shown: for the coordinator only, else empty. */
  readonly rows: readonly ViewedRow[];
  /** The same for what hangs on each of those, and for centres without an estimate. */
  readonly withoutOne: readonly WithoutCentre[];
  readonly leftOut: readonly Pick<CentreLeftOut, 'centre' | 'why'>[];
  /** Centres whose row is withheld; null for others than the coordinator. */
  readonly rowsWithheld: number | null;
}

/** Flow of one year as a viewer may see it. */
export interface ViewedFlowYear {
  readonly year: number;
  readonly eligible: ShownCount;
  readonly seen: ShownCount;
  readonly measured: ShownCount;
  readonly notSeen: Readonly<Record<NotSeenReason, ShownCount>>;
}

/** One group's curve at one year. */
export interface ViewedGroup {
  readonly label: string;
  readonly patients: ShownCount;
  readonly atYears: readonly {
    readonly year: number;
    readonly patients: ShownCount;
    readonly oneStage: ViewedStage | Refusal | null;
  }[];
}

/** One measure of a pooled answer as a viewer may see it. */
export interface ViewedMeasure {
  readonly measure: string;
  readonly centres: number;
  readonly treated: ShownCount;
  /** Between which numbers `treated` lies, in wide steps; for where it is withheld. */
  readonly treatedBetween: Limits;
  readonly inRiskSet: ShownCount;
  readonly leftOut: readonly { readonly reason: LeftOutReason; readonly patients: ShownCount }[];
  readonly flow: readonly ViewedFlowYear[];
  /** Flow of each centre: for the coordinator of all, for a centre its own in full, else empty. */
  readonly flowByCentre: readonly { readonly centre: string; readonly flow: readonly ViewedFlowYear[] }[];
  readonly quantities: readonly ViewedQuantity[];
  /** Null where withheld. */
  readonly survivalDifferences: ViewedTest | Refusal | null;
  readonly separationDifferences: ViewedTest | Refusal | null;
  readonly spread: ClockSpread | Refusal | null;
  readonly groups: readonly ViewedGroup[];
  readonly groupTest: ViewedTest | Refusal | null;
  /** A probability that is withheld for hanging on too few patients is null with the limits between which it lies. */
  readonly competing: readonly Omit<
    PooledCompetingYear,
    'atRiskByCentre' | 'lostByCentre' | 'againByCentre'
  >[];
}

/** A pooled answer as a viewer may see it: no withheld number is in it, nor can be worked out from it. */
export interface PooledView {
  readonly definitionVersion: number;
  readonly level: number;
  readonly smallestCell: number;
  /** Numbers of patients are told to the nearest multiple of this; 1 for who sees the centres. */
  readonly countStep: number;
  readonly viewer: Viewer['kind'];
  readonly measures: readonly ViewedMeasure[];
}

/** What a centre alone sees beside the pool: its own numbers. In the order of the view's measures and quantities. */
export interface OwnPart {
  readonly centre: string;
  readonly measures: readonly {
    readonly measure: string;
    readonly flow: readonly ViewedFlowYear[];
    /** Null where the centre has no estimate. */
    readonly rows: readonly ViewedQuantity['own'][];
  }[];
}
