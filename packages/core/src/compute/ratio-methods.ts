import { z } from 'zod';
import { checkColumn, READING, refuse, twoSidedNormal, twoSidedStudent, type Refusal } from '../numeric';
import { bootstrapRatio, fiellerInterval, independentRatio, pairedRatio, type RatioInterval } from '../ratio';
import { label, level, replicates, seed } from './interval-input';
import { defineMethod, type ComputeMethod } from './method';

const numerator = z.array(z.number()).describe('Numerator of each row, such as the gain now');
const denominator = z
  .array(z.number())
  .describe('Denominator of each row, such as the gain at the end of treatment');
const patient = z
  .array(label)
  .optional()
  .describe('Whose each row is; then patients, not rows, are the independent units');

/** Invented gains of twelve patients in mm. */
const GAINS = {
  about: 'Invented: gain in mm of twelve patients at five years and at the end of active treatment.',
  now: [4.1, 3.2, 5.0, 2.7, 3.9, 4.4, 1.8, 3.1, 4.9, 2.2, 3.6, 4.0],
  then: [5.0, 4.4, 5.6, 3.9, 4.8, 4.7, 3.5, 4.1, 5.2, 3.0, 4.9, 4.5],
};

const SET =
  'kind bounded: between lower and upper; unbounded: outside them; at-least, at-most: one side of one end; whole-line: any ratio';

const ratioAnswer = {
  units: 'Independent units: rows, or patients where given',
  level: 'Confidence level',
  numeratorMean: 'Mean of the numerator a unit',
  denominatorMean: 'Mean of the denominator a unit',
  ratio: 'Ratio of the two means',
  standardError: 'Its standard error by the delta method',
  df: 'Degrees of freedom of t',
  denominatorDistance:
    "Standard errors that the denominator's mean lies from 0; null where that error is 0. Below 4 use only Fieller's set",
  fieller: `Fieller's set; ${SET}`,
  delta: 'ratio -+ t standardError',
  logDelta:
    'The same on the log scale; null where the ratio is not above 0, or so uncertain that a limit is too large for a number',
};

const pairedMethod = defineMethod({
  name: 'ratio-of-paired-means',
  summary: "Ratio of two means of the same patients with Fieller's set and delta intervals",
  source: 'Fieller 1954; Cochran 1977',
  input: z.strictObject({ numerator, denominator, patient, level }),
  answer: ratioAnswer,
  example: { about: GAINS.about, input: { numerator: GAINS.now, denominator: GAINS.then } },
  run: ({ level: confidence, ...columns }) => pairedRatio(withPatient(columns), { level: confidence }),
});

const independentMethod = defineMethod({
  name: 'ratio-of-independent-means',
  summary: "Ratio of the means of two independent groups with Fieller's set and delta intervals",
  source: 'Fieller 1954; Satterthwaite 1946',
  input: z.strictObject({
    numerator: z.array(z.number()).describe('Values of the group whose mean stands above'),
    denominator: z.array(z.number()).describe('Values of the group whose mean stands below'),
    level,
  }),
  answer: { ...ratioAnswer, units: 'Values of both groups together' },
  example: {
    about: 'Invented: yearly growth in mm of a treated and an untreated group.',
    input: { numerator: [2.9, 3.4, 2.2, 3.8, 3.1], denominator: [1.9, 2.4, 2.1, 1.6, 2.8, 2.3] },
  },
  run: ({ level: confidence, ...groups }) => independentRatio(groups, { level: confidence }),
});

const bootstrapMethod = defineMethod({
  name: 'bootstrap-ratio-of-means',
  summary: 'Percentile and BCa limits of the ratio of two means, drawing pairs or patients',
  source: 'Efron and Tibshirani 1993; Davison and Hinkley 1997',
  input: z.strictObject({ numerator, denominator, patient, replicates, seed, level }),
  answer: {
    units: 'What is drawn: rows, or patients with all their rows',
    level: 'Confidence level',
    ratio: 'Ratio of the two means',
    replicates: 'Samples drawn',
    undefinedReplicates: 'Samples whose denominator is 0, left out',
    signChanges: 'Samples whose denominator changes sign: any of them makes these limits doubtful',
    percentile: 'Percentile limits; atExtreme where a limit is the outermost sample',
    accelerated: 'Bias-corrected and accelerated limits; null where not defined',
  },
  example: { about: GAINS.about, input: { numerator: GAINS.now, denominator: GAINS.then, replicates: 999 } },
  run: ({ level: confidence, replicates: samples, seed: start, ...columns }) =>
    bootstrapRatio(withPatient(columns), { level: confidence, replicates: samples, seed: start }),
});

const fiellerMethod = defineMethod({
  name: 'fieller-interval',
  summary: "Fieller's set of the ratio of two estimates from their variances and covariance",
  source: 'Fieller 1954',
  input: z.strictObject({
    numerator: z.number().describe('Estimate above'),
    denominator: z.number().describe('Estimate below, same unit'),
    numeratorVariance: z.number().min(0).describe('Its variance, squared unit'),
    denominatorVariance: z.number().min(0).describe('Its variance, squared unit'),
    covariance: z.number().default(0).describe('Covariance of the two estimates, squared unit'),
    df: z
      .number()
      .min(1)
      .max(1e6)
      .nullable()
      .default(null)
      .describe('Degrees of freedom of the variances; null: known, normal multiplier'),
    level,
  }),
  answer: {
    ratio: 'Ratio of the two estimates; null where the denominator is 0',
    set: `Fieller's set; ${SET}`,
    multiplier: 'Two-sided t or normal quantile used',
  },
  example: {
    about: 'Invented: one patient, 5.1 mm kept of 6.0 mm, reading error 0.6 mm, common start value.',
    input: {
      numerator: 5.1,
      denominator: 6.0,
      numeratorVariance: 0.72,
      denominatorVariance: 0.72,
      covariance: 0.36,
    },
  },
  run({ df, level: confidence, ...input }): FiellerAnswer | Refusal {
    const { numeratorVariance, denominatorVariance, covariance } = input;
    for (const [name, value] of Object.entries(input)) {
      const wrong = checkColumn(name, [value], READING);
      if (wrong !== null) return wrong;
    }
    const most = Math.sqrt(numeratorVariance * denominatorVariance);
    if (Math.abs(covariance) > most * (1 + 1e-12)) {
      return refuse(
        'wrong-value',
        `covariance is ${covariance}; with these variances it lies between -${most} and ${most}.`,
      );
    }
    if (input.denominator === 0 && denominatorVariance === 0) {
      return refuse('zero-denominator', 'The denominator is 0 without error; it must not be.');
    }
    const ratio = input.numerator / input.denominator;
    const multiplier = df === null ? twoSidedNormal(confidence) : twoSidedStudent(confidence, df);
    return {
      ratio: Number.isFinite(ratio) ? ratio : null,
      set: fiellerInterval(input, multiplier),
      multiplier,
    };
  },
});

interface FiellerAnswer {
  readonly ratio: number | null;
  readonly set: RatioInterval;
  readonly multiplier: number;
}

function withPatient<Columns extends { readonly patient?: (string | number)[] | undefined }>(
  columns: Columns,
): Omit<Columns, 'patient'> & { readonly patient?: (string | number)[] } {
  const { patient: whose, ...rest } = columns;
  return whose === undefined ? rest : { ...rest, patient: whose };
}

/** Ratio of two means, and of two estimates. */
export const RATIO_METHODS: readonly ComputeMethod[] = [
  pairedMethod,
  independentMethod,
  bootstrapMethod,
  fiellerMethod,
];
