import { z } from 'zod';
import {
  detectableChange,
  duplicateSpread,
  standardErrorOfMeasurement,
  withinSubjectSpread,
} from '../agreement';
import { first, second, subject } from './agreement-input';
import { level } from './interval-input';
import { differenceTrendMethod, limitsOfAgreementMethod } from './agreement-comparison';
import { intraclassMethod, weightedKappaMethod } from './agreement-coefficients';
import { constantTruthMethod, varyingTruthMethod } from './agreement-replicates';
import { betweenFilmMethod } from './between-film-method';
import { isRefusal } from '../numeric';
import { defineMethod, type ComputeMethod } from './method';

const duplicatesMethod = defineMethod({
  name: 'duplicate-readings',
  summary: "Method error from pairs of readings: Dahlberg's error, method of moments, bias",
  source: 'Dahlberg 1940; Houston 1983; Springate 2012',
  input: z.strictObject({ first, second, level }),
  answer: {
    pairs: 'Number of pairs n',
    level: 'Confidence level',
    dahlberg: "Dahlberg's error sqrt(sum d^2 / 2n), unit of the measure; a bias inflates it",
    dahlbergLimits:
      'Chi-squared limits on n degrees of freedom, right only without bias; null where all pairs agree',
    moments: 'Error by the method of moments SD(d) / sqrt(2), free of bias',
    momentsLimits:
      'Chi-squared limits on n - 1 degrees of freedom, right also with bias; null where all d are equal',
    bias: 'Mean difference, second minus first',
    biasLimits: 't limits of the bias',
    biasT: 't of the paired test of no bias; null where all differences are equal',
    biasP: 'Its two-sided p',
    biasSuspected: 'Whether p is below 0.10',
  },
  example: {
    about: 'Invented SNB angles in degrees of ten films, traced twice; the second readings are larger.',
    input: {
      first: [76.2, 78.4, 74.9, 80.1, 77.3, 75.6, 79.0, 73.8, 76.9, 78.1],
      second: [76.6, 78.3, 75.5, 80.4, 77.9, 75.5, 79.6, 74.1, 77.0, 78.7],
    },
  },
  run: ({ level: confidence, ...readings }) => duplicateSpread(readings, { level: confidence }),
});

const withinSubjectMethod = defineMethod({
  name: 'within-subject-sd',
  summary: 'Error of one reading from subjects read several times, in unequal numbers',
  source: 'Bland and Altman 1999; Snedecor and Cochran 1989',
  input: z.strictObject({
    subject,
    value: z.array(z.number()).describe('The reading of each row, in the unit of the measure'),
    level,
  }),
  answer: {
    subjects: 'Number of subjects',
    readings: 'Number of readings',
    level: 'Confidence level',
    withinSd: "SD of one reading about its subject's mean",
    df: 'Degrees of freedom of withinSd',
    withinLimits: 'Chi-squared limits of withinSd; null where it is 0',
    betweenVariance: 'Variance of true values over subjects, squared unit; may be below 0',
    effectiveReplicates: 'Readings a subject as they count between subjects',
    reliability: 'ICC(1,1): between variance / (between + within variance)',
    reliabilityLimits: 'F limits of it, exact for equal numbers of readings; null where withinSd is 0',
  },
  example: {
    about: 'Invented Co-Gn lengths in mm: four films, traced two to four times.',
    input: {
      subject: ['a', 'a', 'b', 'b', 'b', 'b', 'c', 'c', 'd', 'd', 'd'],
      value: [112.1, 112.9, 108.4, 108.0, 109.1, 108.6, 118.2, 117.5, 110.3, 111.0, 110.1],
    },
  },
  run: ({ level: confidence, ...data }) => withinSubjectSpread(data, { level: confidence }),
});

const count = z.int().min(1).default(1);

const detectableChangeMethod = defineMethod({
  name: 'smallest-detectable-change',
  summary: 'Smallest change of a patient and of a group mean that exceeds measurement error',
  source: 'Bland and Altman 1999; de Vet and others 2006',
  input: z.strictObject({
    sd: z.number().gt(0).describe('Standard deviation of one reading, in the unit of the measure'),
    df: z
      .number()
      .min(1)
      .max(1e6)
      .nullable()
      .default(null)
      .describe('Degrees of freedom of sd: n pairs for Dahlberg, n - 1 for moments; null gives no interval'),
    confidence: z
      .number()
      .gt(0)
      .lt(1)
      .default(0.95)
      .describe('Two-sided confidence that such a change is not error alone'),
    readings: count.describe('Readings averaged at each of the two times'),
    groupSize: count.describe('Patients in the group'),
    level,
  }),
  answer: {
    confidence: 'Confidence that the change is not error alone',
    level: 'Confidence level of the limits',
    patient: 'Smallest detectable change of one patient, z sqrt(2) sd / sqrt(readings)',
    patientLimits: 'Its limits, from those of sd; null where df is null',
    groupSize: 'Patients in the group',
    group: "Smallest detectable change of the group's mean",
    groupLimits: 'Its limits; null where df is null',
  },
  example: {
    about: 'Invented: an error of 0.8 mm from 30 pairs by the method of moments, a group of 12.',
    input: { sd: 0.8, df: 29, groupSize: 12 },
  },
  run: ({ sd, df, ...options }) => detectableChange({ sd, df }, options),
});

const standardErrorMethod = defineMethod({
  name: 'standard-error-of-measurement',
  summary: 'Error of one reading from a reliability coefficient',
  source: 'Weir 2005',
  input: z.strictObject({
    sd: z.number().gt(0).describe('SD of the readings over the subjects of the reliability study'),
    intraclass: z.number().min(-1).max(1).describe('Intraclass correlation of the same readings'),
  }),
  answer: { standardError: 'sd sqrt(1 - intraclass), in the unit of sd' },
  example: { about: 'Invented: SD 4 mm, ICC 0.96.', input: { sd: 4, intraclass: 0.96 } },
  run({ sd, intraclass }) {
    const standardError = standardErrorOfMeasurement(sd, intraclass);
    return isRefusal(standardError) ? standardError : { standardError };
  },
});

/** Method error, agreement of methods and of raters. */
export const AGREEMENT_METHODS: readonly ComputeMethod[] = [
  duplicatesMethod,
  withinSubjectMethod,
  betweenFilmMethod,
  detectableChangeMethod,
  standardErrorMethod,
  intraclassMethod,
  limitsOfAgreementMethod,
  differenceTrendMethod,
  varyingTruthMethod,
  constantTruthMethod,
  weightedKappaMethod,
];
