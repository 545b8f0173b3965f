import { chiSquaredUpperTail, isRefusal, refuse, type Refusal } from '../numeric';
import { betweenStudyVariance, type BetweenStudyVariance } from './between-study-variance';
import {
  coefficientErrors,
  estimatedCoefficient,
  jointTest,
  type CoefficientErrors,
  type EstimatedCoefficient,
  type JointTest,
} from './hartung-knapp';
import { randomEffects, type PoolingOptions } from './random-effects';
import { checkLevel, checkStudies, type StudiesRefusal, type StudyEffects } from './studies';
import { effectsModel, oneMean, regressionAt } from './weighted-regression';

/** Studies in groups. */
export interface StudiesInGroups extends StudyEffects {
  /** The group of each study. */
  readonly group: ArrayLike<string | number>;
}

/** As for one mean; prediction has no place here. */
export interface SubgroupOptions extends Omit<PoolingOptions, 'predictionDegrees'> {
  /**
   * `common` (default): one tau^2 within all groups, which few studies a group can bear; `separate`: each group has
   * its own, which needs five or more studies in each (Borenstein and others 2009, chapter 19).
   */
  readonly tauSquared?: 'common' | 'separate';
}

/** The mean of one group. */
export interface SubgroupMean extends EstimatedCoefficient {
  readonly group: string | number;
  readonly studies: number;
  readonly errors: CoefficientErrors;
  readonly between: BetweenStudyVariance;
  /** Cochran's Q within the group; 0 for a single study. */
  readonly q: number;
  /** Upper tail of chi-squared on studies less one; null for a single study. */
  readonly qP: number | null;
}

/** Means of groups of studies and the test that they are equal. */
export interface Subgroups {
  readonly level: number;
  /** In the order in which the groups first occur. */
  readonly groups: readonly SubgroupMean[];
  readonly tauSquared: 'common' | 'separate';
  /** That the means of all groups are equal. */
  readonly betweenGroups: JointTest;
}

type SubgroupRefusal = StudiesRefusal | Refusal<'one-group' | 'too-few-studies'>;

/**
 * Random-effects means of groups, and the test between them. With a common tau^2 it is the meta-regression on the group,
 * with Knapp and Hartung's F test unless `interval` is `wald`. With separate ones the groups' means are compared by
 * Cochran's Q with Wald's standard errors, chi-squared on groups less one, which is only right for large groups.
 * Sources: Borenstein and others 2009, chapter 19; Knapp and Hartung 2003.
 *
 * @returns a refusal as `randomEffects` gives, for fewer than two groups, for no more studies than groups, and with
 *   separate tau^2 for a group of one study
 */
export function subgroupMeans(
  studies: StudiesInGroups,
  options: SubgroupOptions = {},
): Subgroups | SubgroupRefusal {
  const { level = 0.95, tauSquared = 'common' } = options;
  const wrong = checkGroups(studies) ?? checkLevel(level);
  if (wrong !== null) return wrong;
  const members = membersOfGroups(studies.group);
  return tauSquared === 'common'
    ? withCommonVariance(studies, members, { ...options, level })
    : withSeparateVariances(studies, members, { ...options, level });
}

type Members = ReadonlyMap<string | number, readonly number[]>;
type Options = SubgroupOptions & { readonly level: number };

function checkGroups(studies: StudiesInGroups): SubgroupRefusal | null {
  const { estimate, group } = studies;
  const wrong = checkStudies(studies, { studies: 3, for: 'to compare groups' });
  if (wrong !== null) return wrong;
  if (group.length !== estimate.length) {
    return refuse('wrong-length', `group has ${group.length} entries where ${estimate.length} are needed.`);
  }
  const count = membersOfGroups(group).size;
  if (count < 2) return refuse('one-group', 'All studies are in one group; at least two are needed.');
  return checkStudies(studies, {
    studies: count + 1,
    for: `to estimate the means of ${count} groups and the scatter around them`,
  });
}

function membersOfGroups(group: ArrayLike<string | number>): Members {
  const members = new Map<string | number, number[]>();
  Array.from(group).forEach((label, i) => {
    const rows = members.get(label);
    if (rows === undefined) members.set(label, [i]);
    else rows.push(i);
  });
  return members;
}

function studiesOf({ estimate, variance }: StudyEffects, rows: readonly number[]): StudyEffects {
  return {
    estimate: rows.map((row) => estimate[row] ?? NaN),
    variance: rows.map((row) => variance[row] ?? NaN),
  };
}

function withCommonVariance(studies: StudyEffects, members: Members, options: Options): Subgroups {
  const groups = [...members];
  const columns = groups.map(([, rows]) => {
    const column = new Float64Array(studies.estimate.length);
    for (const row of rows) column[row] = 1;
    return column;
  });
  const model = effectsModel(
    studies,
    columns,
    groups.map(() => 1),
  );
  const between = betweenStudyVariance(model, options.estimator ?? 'restricted-maximum-likelihood');
  const fit = regressionAt(model, between.tauSquared);
  const errors = coefficientErrors(model, fit, options.interval ?? 'hartung-knapp-floored');
  const variances = groups.map((_, j) => fit.covariance[j * groups.length + j] ?? NaN);
  return {
    level: options.level,
    groups: groups.map(([group, rows], j) => ({
      group,
      studies: rows.length,
      ...estimatedCoefficient(fit.coefficients[j] ?? NaN, variances[j] ?? NaN, errors, options.level),
      errors,
      between,
      ...scatterWithin(studiesOf(studies, rows)),
    })),
    tauSquared: 'common',
    betweenGroups: jointTest(scatterOfMeans(fit.coefficients, variances), groups.length - 1, errors),
  };
}

function withSeparateVariances(
  studies: StudyEffects,
  members: Members,
  options: Options,
): Subgroups | SubgroupRefusal {
  const groups: SubgroupMean[] = [];
  for (const [group, rows] of members) {
    const fit = randomEffects(studiesOf(studies, rows), options);
    if (isRefusal(fit)) {
      return refuse(
        'too-few-studies',
        `The group ${group} has one study, which has no tau^2 of its own; take a common tau^2 for all groups.`,
      );
    }
    const { estimate, standardError, interval, statistic, p, errors, between, heterogeneity } = fit;
    const { q, p: qP } = heterogeneity;
    const mean = { estimate, standardError, interval, statistic, p };
    groups.push({ group, studies: rows.length, ...mean, errors, between, q, qP });
  }
  const waldVariances = groups.map(({ between: { tauSquared }, group }) => {
    const rows = members.get(group) ?? [];
    return 1 / rows.reduce((sum, row) => sum + 1 / ((studies.variance[row] ?? NaN) + tauSquared), 0);
  });
  const scatter = scatterOfMeans(
    groups.map(({ estimate }) => estimate),
    waldVariances,
  );
  return {
    level: options.level,
    groups,
    tauSquared: 'separate',
    betweenGroups: {
      distribution: 'chi-squared',
      statistic: scatter,
      degreesOfFreedom: groups.length - 1,
      denominatorDegreesOfFreedom: null,
      p: chiSquaredUpperTail(scatter, groups.length - 1),
    },
  };
}

/** Q within one group, with its test. */
function scatterWithin(studies: StudyEffects): { readonly q: number; readonly qP: number | null } {
  const q = cochransQ(studies);
  const degrees = studies.estimate.length - 1;
  return { q, qP: degrees === 0 ? null : chiSquaredUpperTail(q, degrees) };
}

/** Scatter of the groups' means around their common one. */
function scatterOfMeans(means: ArrayLike<number>, variances: readonly number[]): number {
  return cochransQ({ estimate: means, variance: variances });
}

function cochransQ(studies: StudyEffects): number {
  return regressionAt(oneMean(studies), 0).squares;
}
