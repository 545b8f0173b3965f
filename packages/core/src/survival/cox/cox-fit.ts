import type { DesignPlace } from '../../numeric';
import type { CoxRows } from './cox-rows';
import type { FiniteCoefficients } from './finite-coefficients';
import type { CoxMaximum } from './newton';
import type { CoxTies } from './risk-sets';
import type { Clusters } from './robust-covariance';

/** How a Cox regression is to be fitted and described. */
export interface CoxOptions {
  /** Default `efron`, the better approximation where times are tied. */
  readonly ties?: CoxTies;
  /** Of the intervals; default 0.95. */
  readonly level?: number;
  /**
   * Standard errors from the sandwich covariance. Default: where clusters are given, or weights that are not all
   * whole numbers, for which the model's own standard errors mean nothing.
   */
  readonly robust?: boolean;
  /**
   * With robust standard errors from few clusters, which are too small on average: the covariance of G clusters times
   * G / (G - 1), and limits and p values from Student's t on G - 1 degrees of freedom. Default false, as most programs.
   */
  readonly fewClusters?: boolean;
}

/** One column of the model. */
export interface CoxCoefficient {
  /** The covariate's name, or `name=level` for a factor. */
  readonly name: string;
  /**
   * Log hazard ratio for one unit more, or for the level against the reference. Null where it is infinite, or where
   * other coefficients are and nothing is left that tells about this one.
   */
  readonly estimate: number | null;
  /** `plus` or `minus` where the estimate is infinite (monotone likelihood), else null. */
  readonly infinite: 'plus' | 'minus' | null;
  /** Robust where the fit is robust. Null where the estimate is. */
  readonly standardError: number | null;
  /** From the information alone, whatever `standardError` is. Null where the estimate is. */
  readonly modelStandardError: number | null;
  /** Estimate / standard error; null where either is missing or the standard error is 0. */
  readonly z: number | null;
  /** Two-sided, from the normal distribution (Student's t with `fewClusters`); null with `z`. */
  readonly pValue: number | null;
  /** Wald limits of the log hazard ratio; null where the estimate is. */
  readonly lower: number | null;
  readonly upper: number | null;
  /** exp of the estimate and of its limits; null where one of them is missing or too large for a number. */
  readonly hazardRatio: { readonly estimate: number; readonly lower: number; readonly upper: number } | null;
}

/** A test that all coefficients are zero. */
export interface CoxTest {
  /** Chi-squared under that hypothesis. */
  readonly statistic: number;
  readonly df: number;
  readonly pValue: number;
}

/** A fitted Cox regression. */
export interface CoxFit {
  /** Rows given; none is ever left out. */
  readonly rows: number;
  /** Rows with an event. */
  readonly events: number;
  /** How tied events were dealt with. */
  readonly ties: CoxTies;
  /** Confidence level of the limits. */
  readonly level: number;
  /** One for each column of the design, in its order. */
  readonly coefficients: readonly CoxCoefficient[];
  /** Row-major; robust where the fit is robust. Null where a coefficient is infinite. */
  readonly covariance: Float64Array | null;
  /** Inverse information, row-major. Null where a coefficient is infinite. */
  readonly modelCovariance: Float64Array | null;
  /** Whether `standardError` and `covariance` are those of the sandwich. */
  readonly robust: boolean;
  /** How many clusters (rows, where none were given) the sandwich is from; null without it. */
  readonly clusters: number | null;
  /** At the estimates; where a coefficient is infinite, the height that the likelihood approaches. */
  readonly logLikelihood: number;
  /** With all coefficients zero. */
  readonly nullLogLikelihood: number;
  /** Twice the rise of the log-likelihood. Takes no notice of clusters. */
  readonly likelihoodRatioTest: CoxTest;
  /** With the robust covariance where the fit is robust. Null where a coefficient is infinite or the covariance singular. */
  readonly waldTest: CoxTest | null;
  /** From the derivatives at zero; the log-rank test for one factor without ties. Takes no notice of clusters. */
  readonly scoreTest: CoxTest;
  /** Null unless the fit is robust and there are more clusters than columns. */
  readonly robustScoreTest: CoxTest | null;
  /** Newton steps taken. */
  readonly iterations: number;
  /** What to beware of and what would be right: an infinite coefficient, few clusters. Else null. */
  readonly warning: string | null;
  /** What the functions that build on a fit need of it. */
  readonly model: CoxModel;
}

/** Sorted data and estimates on the inner scale. */
export interface CoxModel {
  readonly sorted: CoxRows;
  readonly maximum: CoxMaximum;
  readonly finite: FiniteCoefficients;
  /** Where the columns of each covariate lie. */
  readonly terms: readonly DesignPlace[];
  /** Of the columns. */
  readonly names: readonly string[];
  readonly clusters: Clusters;
}
