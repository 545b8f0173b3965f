import { isRefusal } from '@longhold/core/numeric';
import { fitCox, type CoxData, type CoxFit, type CoxOptions } from '@longhold/core/survival';
import { readFixture, type NumberOrNull } from './fixture';

interface TestTable {
  readonly statistic: number[];
  readonly df: number[];
  readonly p: number[];
}
interface LimitLists {
  readonly lower: NumberOrNull[];
  readonly upper: NumberOrNull[];
}

/** One data set with everything that survival::coxph and its companions say about it; see r/cox-regression.R. */
export interface CoxCase {
  readonly name: string;
  readonly ties: 'efron' | 'breslow';
  readonly time: number[];
  readonly event: number[];
  readonly entry: number[] | null;
  readonly weights: number[] | null;
  readonly strata: string[] | null;
  readonly clusters: string[] | null;
  readonly covariates: CoxData['covariates'];
  readonly coefficients: number[];
  readonly covariance: number[];
  readonly modelCovariance: number[];
  readonly robust: boolean;
  readonly logLikelihood: [number, number];
  readonly score: number;
  readonly wald: number;
  readonly robustScore: number | null;
  readonly concordance: {
    readonly estimate: number;
    readonly standardError: number;
    readonly counts: number[];
  };
  readonly baseline: { readonly time: number[]; readonly hazard: number[]; readonly strata: string[] | null };
  readonly martingale: number[];
  readonly deviance: number[];
  readonly scoreResiduals: number[];
  readonly schoenfeld: number[];
  readonly curve: {
    /** Which row's covariates, from 0. */
    readonly place: number;
    readonly stratum: string | null;
    readonly time: number[];
    readonly survival: number[];
    readonly hazard: number[];
    readonly hazardError: number[];
    readonly limits: Record<'log' | 'logLog' | 'plain', LimitLists>;
  };
  readonly proportionality: Record<'identity' | 'km' | 'rank' | 'log', TestTable> | null;
  readonly scaledSchoenfeld: number[] | null;
  readonly profile: [number, number] | null;
}

type DataOfCase = Pick<
  CoxCase,
  'name' | 'ties' | 'time' | 'event' | 'entry' | 'weights' | 'strata' | 'clusters' | 'covariates'
>;

/** A data set whose likelihood is monotone: columns (from 0) that are infinite, and what coxph says of the others. */
export interface MonotoneCase extends DataOfCase {
  readonly infinite: number[];
  readonly logLikelihood: [number, number];
  readonly score: number;
  readonly finite: number[];
  readonly estimates: number[];
  readonly errors: number[];
}

export const { cases: COX_CASES, monotone: MONOTONE_CASES } = readFixture<{
  cases: CoxCase[];
  monotone: MonotoneCase[];
}>('cox-regression');

export function fitCase(example: DataOfCase, options: CoxOptions = {}): CoxFit {
  const { time, event, entry, weights, strata, clusters, covariates, ties } = example;
  const data: CoxData = {
    time,
    event,
    covariates,
    ...(entry && { entry }),
    ...(weights && { weights }),
    ...(strata && { strata }),
    ...(clusters && { clusters }),
  };
  const fit = fitCox(data, { ties, ...options });
  if (isRefusal(fit)) throw new Error(`${example.name}: ${fit.message}`);
  return fit;
}
