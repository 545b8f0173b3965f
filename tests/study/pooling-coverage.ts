import { isRefusal, type RandomStream, type Refusal } from '@longhold/core/numeric';
import {
  commonEffect,
  metaRegression,
  randomEffects,
  subgroupMeans,
  type PoolingOptions,
} from '@longhold/core/pooling';
import { outcomeOf, type JointCoverageStudy, type Outcome } from './coverage-study';

/** Change of a length in mm, as a clinic's mean: standard deviation of a patient, and the mean of all clinics. */
const PATIENT_SD = 2;
const MEAN = 1.5;

const LEVEL = 0.95;
const REPLICATES = 2000;

/** Patients of the clinics of an invented pooling. */
const SIZES = {
  equal: (clinics: number) => Array.from({ length: clinics }, () => 20),
  'very unequal': (clinics: number) =>
    Array.from({ length: clinics }, (_, i) => [200, 8, 20, 8, 12][i % 5] ?? 0),
};

/** tau^2 in mm^2; with 20 patients a clinic the sampling variance is 0.2. */
const HETEROGENEITY = { none: 0, moderate: 0.2, large: 1.8 };

interface Draw {
  readonly estimate: number[];
  readonly variance: number[];
}

/** Estimates of clinics with variances that are known, as all formulas take them to be. */
function drawClinics(
  random: RandomStream,
  sizes: readonly number[],
  means: readonly number[],
  tauSquared: number,
): Draw {
  const variance = sizes.map((patients) => PATIENT_SD ** 2 / patients);
  const estimate = variance.map(
    (within, i) => (means[i] ?? MEAN) + Math.sqrt(tauSquared + within) * random.normal(),
  );
  return { estimate, variance };
}

/** The same where each clinic estimates its variance from its own patients. */
function drawClinicsWithEstimatedVariances(
  random: RandomStream,
  sizes: readonly number[],
  tauSquared: number,
): Draw {
  const { estimate, variance } = drawClinics(random, sizes, [], tauSquared);
  const estimated = variance.map((within, i) => {
    const degrees = (sizes[i] ?? 0) - 1;
    let squares = 0;
    for (let j = 0; j < degrees; j++) squares += random.normal() ** 2;
    return (within * squares) / degrees;
  });
  return { estimate, variance: estimated };
}

function answerOf<Answer>(result: Answer | Refusal): Answer {
  if (isRefusal(result)) throw new Error(result.message);
  return result;
}

/** All intervals of one pooling of clinics with one mean. */
function poolingOutcomes(
  random: RandomStream,
  { estimate, variance }: Draw,
  tauSquared: number,
): Record<string, readonly Outcome[]> {
  const furtherMean = MEAN + Math.sqrt(tauSquared) * random.normal();
  const fit = (options: PoolingOptions): ReturnType<typeof pooled> => pooled({ estimate, variance }, options);
  const usual = fit({});
  const wider = fit({ predictionDegrees: 'studies-minus-one' });
  return {
    'mean, Hartung-Knapp with floor (default)': [outcomeOf(MEAN, usual.interval)],
    'mean, Hartung-Knapp without floor': [outcomeOf(MEAN, fit({ interval: 'hartung-knapp' }).interval)],
    'mean, Wald': [outcomeOf(MEAN, fit({ interval: 'wald' }).interval)],
    'mean, equal weights': [outcomeOf(MEAN, usual.equalWeights.interval)],
    'prediction, studies less two (default)': [outcomeOf(furtherMean, usual.prediction)],
    'prediction, studies less one': [outcomeOf(furtherMean, wider.prediction)],
    'tau^2, Q-profile': [outcomeOf(tauSquared, usual.heterogeneity.tauSquaredInterval)],
  };
}

function pooled(studies: Draw, options: PoolingOptions) {
  return answerOf(randomEffects(studies, { ...options, level: LEVEL }));
}

const POOLINGS: readonly JointCoverageStudy[] = [3, 5, 10].flatMap((clinics) =>
  Object.entries(SIZES).flatMap(([sizes, patients]) =>
    Object.entries(HETEROGENEITY).map(([amount, tauSquared]) => ({
      situation: `${clinics} clinics of ${sizes} size, heterogeneity ${amount}`,
      level: LEVEL,
      replicates: REPLICATES,
      trials: (random: RandomStream) =>
        poolingOutcomes(random, drawClinics(random, patients(clinics), [], tauSquared), tauSquared),
    })),
  ),
);

const ESTIMATED_VARIANCES: readonly JointCoverageStudy[] = [0, 0.2].map((tauSquared) => ({
  situation: `5 clinics of 6 to 12 patients, variances estimated, heterogeneity ${tauSquared === 0 ? 'none' : 'moderate'}`,
  level: LEVEL,
  replicates: REPLICATES,
  trials: (random) => {
    const draw = drawClinicsWithEstimatedVariances(random, [6, 8, 8, 10, 12], tauSquared);
    return poolingOutcomes(random, draw, tauSquared);
  },
}));

/** The mean apart for samples with and without the warning, for which there may be no outcome in a sample. */
const WARNED: readonly JointCoverageStudy[] = [5, 10].map((clinics) => ({
  situation: `${clinics} clinics of very unequal size, heterogeneity moderate`,
  level: LEVEL,
  replicates: REPLICATES,
  trials: (random) => {
    const sizes = SIZES['very unequal'](clinics);
    const usual = pooled(drawClinics(random, sizes, [], HETEROGENEITY.moderate), {});
    const weighted = [outcomeOf(MEAN, usual.interval)];
    const warned = usual.warnings.includes('carried-by-few');
    return {
      'mean, default, where carried-by-few is told': warned ? weighted : [],
      'mean, equal weights, where carried-by-few is told': warned
        ? [outcomeOf(MEAN, usual.equalWeights.interval)]
        : [],
      'mean, default, where it is not told': warned ? [] : weighted,
    };
  },
}));

const COMMON_EFFECT: JointCoverageStudy = {
  situation: '3 clinics of very unequal size, no heterogeneity',
  level: LEVEL,
  replicates: REPLICATES,
  trials: (random) => {
    const studies = drawClinics(random, SIZES['very unequal'](3), [], 0);
    return { 'common effect': [outcomeOf(MEAN, answerOf(commonEffect(studies, { level: LEVEL })).interval)] };
  },
};

const SLOPE = 0.25;

const REGRESSIONS: readonly JointCoverageStudy[] = [6, 15].flatMap((clinics) =>
  Object.entries(HETEROGENEITY).map(([amount, tauSquared]) => ({
    situation: `${clinics} clinics of very unequal size, one covariate, residual heterogeneity ${amount}`,
    level: LEVEL,
    replicates: REPLICATES,
    trials: (random: RandomStream) => {
      const years = Array.from({ length: clinics }, (_, i) => (i * 7) % clinics);
      const means = years.map((year) => MEAN + SLOPE * year);
      const studies = drawClinics(random, SIZES['very unequal'](clinics), means, tauSquared);
      const terms = [{ kind: 'numeric', name: 'years', values: years }] as const;
      const { coefficients, residualHeterogeneity } = answerOf(
        metaRegression({ ...studies, terms }, { level: LEVEL }),
      );
      return {
        'slope of a meta-regression': [outcomeOf(SLOPE, coefficients[1]?.interval ?? null)],
        'residual tau^2, Q-profile': [outcomeOf(tauSquared, residualHeterogeneity.tauSquaredInterval)],
      };
    },
  })),
);

const SUBGROUPS: JointCoverageStudy = {
  situation: '2 groups of 4 clinics of very unequal size, heterogeneity moderate',
  level: LEVEL,
  replicates: REPLICATES,
  trials: (random) => {
    const group = [1, 1, 1, 1, 2, 2, 2, 2];
    const means = group.map((label) => MEAN * label);
    const sizes = SIZES['very unequal'](8);
    const studies = { ...drawClinics(random, sizes, means, HETEROGENEITY.moderate), group };
    const outcomesWith = (tauSquared: 'common' | 'separate'): Outcome[] =>
      answerOf(subgroupMeans(studies, { tauSquared, level: LEVEL })).groups.map((mean, i) =>
        outcomeOf(MEAN * (i + 1), mean.interval),
      );
    return {
      'mean of a subgroup, common tau^2 (default)': outcomesWith('common'),
      'mean of a subgroup, separate tau^2': outcomesWith('separate'),
    };
  },
};

/** Every interval of the pooling of studies, few and of unequal size as clinics are. */
export const POOLING_COVERAGE: readonly JointCoverageStudy[] = [
  ...POOLINGS,
  ...WARNED,
  ...ESTIMATED_VARIANCES,
  COMMON_EFFECT,
  ...REGRESSIONS,
  SUBGROUPS,
];
