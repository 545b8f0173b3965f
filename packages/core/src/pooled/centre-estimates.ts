import type { StudyDefinition } from '../contribution/study-definition';
import {
  isRefusal,
  refuse,
  resampledVariance,
  twoSidedNormal,
  twoSidedStudent,
  type Refusal,
} from '../numeric';
import { fiellerInterval, type RatioInterval } from '../ratio';
import type { Covariance, PartEstimate } from '../separation';
import { exactLimits, turnbullBootstrap, widenedLimits } from '../survival';
import type { CurveOfParts, MeasureStatistics, RetentionSums } from './centre-statistics';
import { clockOfSums, unsureVelocity } from './clock-of-sums';
import { ownVariance, sharedMoves } from './curve-moves';
import { intervalTimesOf, patientsAtRisk } from './loss-times';

/** Fewer patients than this in a centre show single patients, and give a variance that cannot be relied on. */
export const FEWEST_PATIENTS = 5;
/** A ratio by the delta method is only right where its denominator lies this many standard errors from zero. */
const SURE_DENOMINATOR = 3;
/** Resamples behind a centre's curve; its variance, not its tails, is what is taken from them. */
const RESAMPLES = 200;
const SEED = 1;

/** What one centre says of one quantity. */
export interface CentreEstimate {
  /** Patients behind it; for a curve those still at risk. */
  readonly patients: number;
  /** In the unit of the quantity, with the centre's own interval, everything that is uncertain in it included. */
  readonly estimate: number;
  readonly interval: RatioInterval;
  /** On the scale on which centres are pooled. */
  readonly value: number;
  /** Variance of `value` that is this centre's alone. */
  readonly variance: number;
  /** Standard deviation of `value` that comes from a growth table which all centres share; 0 where there is none. */
  readonly commonSd: number;
}

/** A centre's estimate, or why it takes no part. */
export interface CentreResult {
  readonly patients: number;
  readonly result: CentreEstimate | Refusal;
}

/** All quantities of one measure at one centre. A pure function of its statistics, so that it can be kept with them. */
export interface CentreEstimates {
  readonly measure: string;
  readonly retention: readonly ({ readonly year: number } & CentreResult)[];
  readonly survival: readonly ({ readonly year: number } & CentreResult)[];
  /** T, unit of the measure; S, years; T over the gain at the end of active treatment. */
  readonly lasting: CentreResult;
  readonly forward: CentreResult;
  readonly lastingShare: CentreResult;
}

/** What a centre's statistics say of each quantity of the definition. */
export function centreEstimates(
  statistics: MeasureStatistics,
  { years, level }: Pick<StudyDefinition, 'years' | 'level'>,
): CentreEstimates {
  const isCommon = statistics.reference.kind === 'common';
  const rising = [...years].sort((a, b) => a - b);
  return {
    measure: statistics.measure,
    retention: rising.map((year) => {
      const sums = statistics.retention.find((one) => one.year === year);
      return {
        year,
        patients: sums?.patients ?? 0,
        result: sums === undefined ? tooFew(0) : retainedShare(sums, isCommon, level),
      };
    }),
    survival: survivalAtYears(statistics, rising, level),
    ...partsOf(statistics, isCommon, level),
  };
}

function tooFew(patients: number): Refusal {
  return refuse(
    'too-few-patients',
    `Patients: ${patients}; at least ${FEWEST_PATIENTS} are needed for a centre's own estimate.`,
  );
}

function bounded(estimate: number, reach: number): RatioInterval {
  return { kind: 'bounded', lower: estimate - reach, upper: estimate + reach };
}

/**
 * Ratio of mean gains, pooled as it is and not as its logarithm: a share may be zero or negative where all gain is lost,
 * and the logarithm would leave out just those centres.
 */
function retainedShare(
  { patients, end, now, scatter, curve }: RetentionSums,
  isCommon: boolean,
  level: number,
): CentreEstimate | Refusal {
  if (patients < FEWEST_PATIENTS) return tooFew(patients);
  const means = { end: end / patients, now: now / patients };
  const perMean = 1 / (patients - 1) / patients;
  const sampling = { end: scatter.end * perMean, both: scatter.both * perMean, now: scatter.now * perMean };
  const whole = {
    end: sampling.end + curve.end,
    both: sampling.both + curve.both,
    now: sampling.now + curve.now,
  };
  if (!(means.end > SURE_DENOMINATOR * Math.sqrt(whole.end))) {
    return refuse(
      'gain-not-sure',
      'The mean gain of treatment is not clear enough of zero for a share of it to be taken.',
    );
  }
  const share = means.now / means.end;
  const ofRatio = (variances: typeof sampling): number =>
    Math.max(0, variances.now - 2 * share * variances.both + share * share * variances.end) / means.end ** 2;
  const variance = ofRatio(isCommon ? sampling : whole);
  if (!(variance > 0)) return noVariation();
  return {
    patients,
    estimate: share,
    interval: fiellerInterval(
      {
        numerator: means.now,
        denominator: means.end,
        numeratorVariance: whole.now,
        denominatorVariance: whole.end,
        covariance: whole.both,
      },
      twoSidedStudent(level, patients - 1),
    ),
    value: share,
    variance,
    commonSd: isCommon ? Math.sqrt(ofRatio(curve)) : 0,
  };
}

function noVariation(): Refusal {
  return refuse(
    'no-variation',
    'The patients of this centre do not differ at all, so that nothing says how sure its estimate is.',
  );
}

/** S at each year on the scale log(-log S), on which its estimate is nearer to normal and never leaves 0 to 1. */
function survivalAtYears(
  { losses, doubt }: MeasureStatistics,
  years: readonly number[],
  level: number,
): CentreEstimates['survival'] {
  const moves = doubt?.survival ?? null;
  const atRisk = years.map((year) => patientsAtRisk(losses, year));
  const drawn =
    losses.length === 0
      ? null
      : turnbullBootstrap(intervalTimesOf(losses), years, { level, resamples: RESAMPLES, seed: SEED });
  const total = losses.reduce((sum, { patients }) => sum + patients, 0);
  return years.map((year, i) => {
    const patients = atRisk[i] ?? 0;
    const read = drawn === null || isRefusal(drawn) ? undefined : drawn.values[i];
    if (read === undefined || patients < FEWEST_PATIENTS) {
      return {
        year,
        patients,
        result: refuse(
          'too-few-at-risk',
          `Patients still at risk: ${patients}; at least ${FEWEST_PATIENTS} are needed.`,
        ),
      };
    }
    const moved =
      moves === null
        ? { own: 0, shared: 0 }
        : { own: ownVariance(moves, i), shared: resampledVariance(sharedMoves(moves, i)) };
    return { year, patients, result: survivalEstimate(read, moved, patients, total, level) };
  });
}

/**
 * A curve that has not dropped, or has dropped to zero, counts as if half a patient had done otherwise.
 *
 * @param moved variances of the curve from errors of growth reference and method error: the centre's own, and of a table
 *   that all centres share
 */
function survivalEstimate(
  { survival, standardError }: { readonly survival: number; readonly standardError: number },
  moved: { readonly own: number; readonly shared: number },
  atRisk: number,
  total: number,
  level: number,
): CentreEstimate {
  const binomial = survival * (1 - survival);
  const varies = binomial > 1e-12 && standardError > 1e-6;
  const informative = varies ? Math.min(total, binomial / standardError ** 2) : atRisk;
  const corrected = varies ? survival : (informative * survival + 0.5) / (informative + 1);
  const variance = (corrected * (1 - corrected)) / (varies ? informative : informative + 1);
  const limits = widenedLimits(
    {
      survival,
      standardError: varies ? standardError : 0,
      exact: exactLimits(survival, informative, level),
    },
    Math.sqrt(moved.own + moved.shared),
    total,
    level,
  );
  const slope = Math.abs(corrected * Math.log(corrected));
  return {
    patients: atRisk,
    estimate: survival,
    interval: { kind: 'bounded', ...limits },
    value: Math.log(-Math.log(corrected)),
    variance: (variance + moved.own) / slope ** 2,
    commonSd: Math.sqrt(moved.shared) / slope,
  };
}

type Parts = Pick<CentreEstimates, 'lasting' | 'forward' | 'lastingShare'>;

function partsOf({ separation, doubt }: MeasureStatistics, isCommon: boolean, level: number): Parts {
  const patients = separation.patients.length;
  const fit = unsureVelocity({ doubt, separation }) ?? clockOfSums(separation.patients, level);
  if (isRefusal(fit)) {
    return {
      lasting: { patients, result: fit },
      forward: { patients, result: fit },
      lastingShare: { patients, result: fit },
    };
  }
  const curve = separation.curve ?? CURVE_KNOWN;
  const part = (own: PartEstimate, ownVariance: number, ofCurve: number): CentreResult => ({
    patients,
    result: partEstimate(patients, own, ownVariance, ofCurve, isCommon, level),
  });
  return {
    lasting: part(fit.lasting, fit.covariance.lasting, curve.lasting),
    forward: part(fit.passing, fit.covariance.passing, curve.passing),
    lastingShare: {
      patients,
      result: shareOfParts(
        {
          patients,
          lasting: fit.lasting.estimate,
          passing: fit.passing.estimate,
          covariance: fit.covariance,
        },
        separation.endVelocity / separation.endPatients,
        curve,
        isCommon,
        level,
      ),
    },
  };
}

/** Nothing is added where the curve is taken as known. */
const CURVE_KNOWN: CurveOfParts = {
  lasting: 0,
  both: 0,
  passing: 0,
  lastingVelocity: 0,
  passingVelocity: 0,
  velocity: 0,
};

function partEstimate(
  patients: number,
  { estimate, lower, upper }: PartEstimate,
  ownVariance: number,
  ofCurve: number,
  isCommon: boolean,
  level: number,
): CentreEstimate {
  // The part's own limits stand on Student's distribution; the curve's variance widens them in proportion.
  const reach =
    lower === null || upper === null ? twoSidedNormal(level) * Math.sqrt(ownVariance) : (upper - lower) / 2;
  return {
    patients,
    estimate,
    interval: bounded(estimate, reach * Math.sqrt((ownVariance + ofCurve) / ownVariance)),
    value: estimate,
    variance: ownVariance + (isCommon ? 0 : ofCurve),
    commonSd: isCommon ? Math.sqrt(ofCurve) : 0,
  };
}

interface FittedParts {
  readonly patients: number;
  readonly lasting: number;
  readonly passing: number;
  readonly covariance: Covariance;
}

/** T / (T + S x) with x the mean velocity at the end of active treatment, by the delta method. */
function shareOfParts(
  { patients, lasting, passing, covariance }: FittedParts,
  velocity: number,
  curve: CurveOfParts,
  isCommon: boolean,
  level: number,
): CentreEstimate | Refusal {
  const gain = lasting + passing * velocity;
  const own: CurveOfParts = { ...CURVE_KNOWN, ...covariance };
  const gainVariance = formVariance(own, 1, velocity, 0) + formVariance(curve, 1, velocity, passing);
  if (!(gain > SURE_DENOMINATOR * Math.sqrt(gainVariance))) {
    return refuse(
      'gain-not-sure',
      'The gain at the end of active treatment is not clear enough of zero for a share of it to be taken.',
    );
  }
  const share = lasting / gain;
  const slopes = [(1 - share) / gain, (-share * velocity) / gain, (-share * passing) / gain] as const;
  const ofOwn = formVariance(own, ...slopes);
  const ofCurve = formVariance(curve, ...slopes);
  return {
    patients,
    estimate: share,
    interval: fiellerInterval(
      {
        numerator: lasting,
        denominator: gain,
        numeratorVariance: own.lasting + curve.lasting,
        denominatorVariance: gainVariance,
        covariance:
          own.lasting +
          velocity * own.both +
          curve.lasting +
          velocity * curve.both +
          passing * curve.lastingVelocity,
      },
      twoSidedNormal(level),
    ),
    value: share,
    variance: ofOwn + (isCommon ? 0 : ofCurve),
    commonSd: isCommon ? Math.sqrt(ofCurve) : 0,
  };
}

/** Variance of a T + b S + c x. */
function formVariance(m: CurveOfParts, a: number, b: number, c: number): number {
  const sum =
    a * a * m.lasting +
    b * b * m.passing +
    c * c * m.velocity +
    2 * (a * b * m.both + a * c * m.lastingVelocity + b * c * m.passingVelocity);
  return Math.max(0, sum);
}
