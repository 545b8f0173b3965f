import { z } from 'zod';
import { splitChinPosition, splitMolarRelation, splitOverjet } from '../measures';
import { isRefusal, refuse, type Refusal } from '../numeric';
import { fadingShare, fitFadingPart, fitGrowthClock, lastingShare, type TwoPartFit } from '../separation';
import { label, level } from './interval-input';
import { defineMethod, type ComputeMethod } from './method';

const patient = z.array(label).describe('Whose gain it is');
const gain = z
  .array(z.number())
  .describe('Adjusted gain at the end of active treatment and later, favourable direction positive');

/** Invented gains of eight patients over some years, mm; velocity in mm a year. */
const SERIES = {
  about:
    'Invented: gains in mm of eight patients at the end of active treatment and at yearly visits, with expected growth velocity in mm a year.',
  patient: [1, 1, 1, 1, 2, 2, 2, 2, 3, 3, 3, 4, 4, 4, 4, 5, 5, 5, 6, 6, 6, 6, 7, 7, 7, 8, 8, 8, 8],
  time: [0, 1, 2, 4, 0, 1, 3, 4, 0, 2, 3, 0, 1, 2, 5, 0, 1, 2, 0, 1, 3, 5, 0, 2, 4, 0, 1, 3, 4],
  velocity: [
    2.9, 2.4, 1.7, 0.4, 2.6, 2.1, 0.9, 0.4, 3.1, 1.9, 1.1, 2.2, 1.6, 1, 0.1, 2.8, 2.3, 1.6, 3.3, 2.9, 1.5,
    0.4, 2.4, 1.2, 0.2, 3, 2.5, 1.2, 0.5,
  ],
  gain: [
    5.6, 5.4, 4.6, 3.2, 4.1, 4.4, 2.6, 2.9, 4.7, 4.2, 2.9, 3.2, 3.3, 2.1, 1.4, 6.2, 5.3, 5.1, 4.4, 4.9, 3.2,
    2.4, 2.9, 1.4, 1.5, 4.6, 4.3, 3.7, 2.5,
  ],
};

const partsAnswer = {
  lasting: 'T, the lasting part: estimate, standard error, degrees of freedom, t, p and limits',
  covariance: 'Covariance of the estimates of T and of the passing part: variances, and `both`',
  betweenPatients: "The same between patients' own parts",
  residualSd: "SD of a gain around the patient's own course",
  structure: 'full: correlated effects of patients; diagonal: uncorrelated, where the data refused that',
  edges: 'What is at the edge of what is possible, in sentences',
  patients: 'Patients',
  gains: 'Gains',
  restrictedLogLikelihood: 'Restricted log-likelihood at its maximum',
  logLikelihood: 'Full log-likelihood at its maximum',
  aic: 'Akaike criterion of the full likelihood',
};

/** A fit without what only further computation needs. */
function plainFit<Fit extends TwoPartFit>({
  model: _model,
  fit: _fit,
  ...rest
}: Fit): Omit<Fit, 'model' | 'fit'> {
  return rest;
}

const clockMethod = defineMethod({
  name: 'growth-clock',
  summary: 'Lasting gain and years of growth brought forward, A = (T + u) + (S + w) v + e',
  source: 'Laird and Ware 1982; Fai and Cornelius 1996; Fieller 1954',
  input: z.strictObject({
    patient,
    gain,
    velocity: z
      .array(z.number())
      .describe('Expected growth velocity at the age of each gain, favourable direction positive, a year'),
    velocityAtEnd: z
      .number()
      .optional()
      .describe(
        'Mean velocity at the end of active treatment, for the lasting share; left out, none is given',
      ),
    level,
  }),
  answer: {
    ...partsAnswer,
    passing:
      'S, years of growth brought forward: estimate, standard error, degrees of freedom, t, p and limits',
    lastingShare: "T / (T + S velocityAtEnd) with Fieller's set; null without velocityAtEnd",
  },
  example: {
    about: SERIES.about,
    input: { patient: SERIES.patient, gain: SERIES.gain, velocity: SERIES.velocity, velocityAtEnd: 2.8 },
  },
  run: ({ level: confidence, velocityAtEnd, ...columns }) => {
    const fault = unequal({ gain: columns.gain, velocity: columns.velocity }, columns.patient.length);
    if (fault !== null) return fault;
    const fit = fitGrowthClock({ ...columns, curve: null }, confidence);
    if (isRefusal(fit)) return fit;
    const { transfer: _transfer, velocityReliability: _reliability, ...parts } = fit;
    return {
      ...plainFit(parts),
      lastingShare: velocityAtEnd === undefined ? null : lastingShare(fit, velocityAtEnd, confidence),
    };
  },
});

const fadingMethod = defineMethod({
  name: 'fading-part',
  summary: 'Lasting gain and a part that fades with time, A = (T + u) + (P + w) exp(-t / tau) + e',
  source: 'Laird and Ware 1982; Meeker and Escobar 1995 (profile likelihood)',
  input: z.strictObject({
    patient,
    gain,
    time: z.array(z.number()).describe('Years since the end of active treatment, 0 or more'),
    level,
  }),
  answer: {
    ...partsAnswer,
    lasting:
      'T, the lasting part: estimate, standard error at the best tau, degrees of freedom; limits over all taus left open, null without tauBounded; t and p null',
    passing: 'P, the fading part: the same',
    lastingShare: 'T / (T + P) with its set over all taus left open; the whole line without tauBounded',
    tau: 'Years in which the fading part falls to 37 %',
    tauLower: 'Lower profile limit; null where it is not bounded',
    tauUpper: 'Upper profile limit; null where it is not bounded',
    tauAtEdge: 'shortest or longest where the data do not fix tau; else null',
    tauBounded: 'Whether the data rule out that the part fades too slowly to be told from what lasts',
  },
  example: { about: SERIES.about, input: { patient: SERIES.patient, gain: SERIES.gain, time: SERIES.time } },
  run: ({ level: confidence, ...columns }) => {
    const fault = unequal({ gain: columns.gain, time: columns.time }, columns.patient.length);
    if (fault !== null) return fault;
    const fit = fitFadingPart(columns, confidence);
    if (isRefusal(fit)) return fit;
    const { along: _along, ...parts } = plainFit(fit);
    return { ...parts, lastingShare: fadingShare(fit) };
  },
});

/** A refusal that names the column whose length differs from that of the patients; null where none does. */
function unequal(columns: Readonly<Record<string, readonly number[]>>, patients: number): Refusal | null {
  for (const [name, values] of Object.entries(columns)) {
    if (values.length !== patients) {
      return refuse(
        'wrong-length',
        `${name} has ${values.length} entries where ${patients} are needed, one for each of patient.`,
      );
    }
  }
  return null;
}

const distance = z.number().min(-1000).max(1000);
const pointsSchema = z.strictObject({
  ss: distance.describe('Upper jaw base to the perpendicular, mm'),
  pg: distance.describe('Lower jaw base to the perpendicular, mm'),
  is: distance.describe('Edge of the upper incisor to the perpendicular, mm'),
  ii: distance.describe('Edge of the lower incisor to the perpendicular, mm'),
  ms: distance.describe('Upper first molar to the perpendicular, mm'),
  mi: distance.describe('Lower first molar to the perpendicular, mm'),
});

const occlusalMethod = defineMethod({
  name: 'sagittal-occlusal-split',
  summary: 'Corrections of overjet and molar relation split into movements of jaws and of teeth within them',
  source: 'Pancherz 1982; the sum rule is algebra',
  input: z.strictObject({
    before: pointsSchema.describe('Distances at the first record'),
    after: pointsSchema.describe('Distances at the second record'),
  }),
  answer: {
    overjet:
      'whole, upperJaw, lowerJaw, upperTeeth, lowerTeeth; positive corrects; the parts sum to the whole',
    molar: 'The same for the molar relation',
  },
  example: {
    about: 'Constructed: overjet 5.5 mm smaller, 2.5 of it skeletal; no real patient.',
    input: {
      before: { ss: 74, pg: 78, is: 83, ii: 74, ms: 53, mi: 51 },
      after: { ss: 74.5, pg: 81, is: 82, ii: 78.5, ms: 52, mi: 55 },
    },
  },
  run: ({ before, after }) => ({
    overjet: splitOverjet(before, after),
    molar: splitMolarRelation(before, after),
  }),
});

const chinSchema = z.strictObject({
  chin: distance.describe('Chin ahead of the perpendicular, mm'),
  hinge: distance.describe('Condyle behind the perpendicular, mm'),
  length: z.number().gt(0).max(1000).describe('Length from condyle to chin, mm'),
});

const chinMethod = defineMethod({
  name: 'chin-position-split',
  summary: 'Change of chin position split into length, turn and hinge of the lower jaw',
  source: 'Geometry; the parts sum to the whole exactly',
  input: z.strictObject({
    before: chinSchema.describe('The first record'),
    after: chinSchema.describe('The second record'),
  }),
  answer: {
    whole: 'Chin forward, mm',
    hinge: 'Condyle forward, mm',
    length: 'From a longer lower jaw, mm',
    rotation: 'From a lower jaw turned forward, mm',
    degrees: 'By how many degrees it turned, forward positive',
  },
  example: {
    about: 'Constructed: a jaw that grew 5 mm and turned a little; no real patient.',
    input: { before: { chin: 78, hinge: 8, length: 110 }, after: { chin: 82, hinge: 9, length: 115 } },
  },
  run: ({ before, after }) =>
    splitChinPosition(before, after) ??
    refuse(
      'no-triangle',
      'chin + hinge is larger than length, which no triangle allows; check that all are of one size and record.',
    ),
});

export const SEPARATION_METHODS: readonly ComputeMethod[] = [
  clockMethod,
  fadingMethod,
  occlusalMethod,
  chinMethod,
];
