import type { CentreEstimates } from './centre-estimates';
import type { MeasureStatistics } from './centre-statistics';

/** One centre's part in the pool of one measure. */
export interface PoolMember {
  /** By what the caller knows the centre. */
  readonly centre: string;
  readonly statistics: MeasureStatistics;
  readonly estimates: CentreEstimates;
}
