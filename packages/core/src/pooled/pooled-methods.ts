import {
  countText,
  levelText,
  patientsText,
  RULE_WORDS,
  thresholdText,
  type MethodsBeside,
} from '../answers';
import { POOLED_REFERENCE_WORDS } from '../contribution/definition-words';
import type { StudyDefinition } from '../contribution/study-definition';
import { findMeasure } from '../measures';
import { isRefusal } from '../numeric';
import type { QuantityKind, ViewedMeasure } from './view';
import { patientRangeText } from './view-summary';

/** Works that the sentences on pooling cite, by the name they use. Cited from memory. */
const WORKS: MethodsBeside['works'] = {
  'Viechtbauer 2005':
    'Viechtbauer W. Bias and efficiency of meta-analytic variance estimators in the random-effects model. J Educ Behav Stat 2005;30:261-93.',
  'Hartung and Knapp 2001':
    'Hartung J, Knapp G. On tests of the overall treatment effect in meta-analysis with normally distributed responses. Stat Med 2001;20:1771-82.',
  'Sidik and Jonkman 2002':
    'Sidik K, Jonkman JN. A simple confidence interval for meta-analysis. Stat Med 2002;21:3153-9.',
  'Röver, Knapp and Friede 2015':
    'Röver C, Knapp G, Friede T. Hartung-Knapp-Sidik-Jonkman approach and its modification for random-effects meta-analysis with few studies. BMC Med Res Methodol 2015;15:99.',
  'Higgins, Thompson and Spiegelhalter 2009':
    'Higgins JPT, Thompson SG, Spiegelhalter DJ. A re-evaluation of random-effects meta-analysis. J R Stat Soc A 2009;172:137-59.',
  'Higgins and Thompson 2002':
    'Higgins JPT, Thompson SG. Quantifying heterogeneity in a meta-analysis. Stat Med 2002;21:1539-58.',
  'Viechtbauer 2007':
    'Viechtbauer W. Confidence intervals for the amount of heterogeneity in meta-analysis. Stat Med 2007;26:37-52.',
  'Viechtbauer and Cheung 2010':
    'Viechtbauer W, Cheung MWL. Outlier and influence diagnostics for meta-analysis. Res Synth Methods 2010;1:112-25.',
  'Debray and others 2015':
    'Debray TPA, Moons KGM, van Valkenhoef G, and others. Get real in individual participant data (IPD) meta-analysis: a review of the methodology. Res Synth Methods 2015;6:293-309.',
};

/** A pooled answer on one measure, as far as the methods must tell of it. */
export interface PoolTold {
  readonly measure: ViewedMeasure;
  /** Number of the answer at its service, version of its definition, centres and treated patients. */
  readonly release: number;
  readonly definitionVersion: number;
  readonly centres: number;
  readonly patients: { readonly from: number; readonly to: number | null };
  readonly smallestCell: number;
  readonly level: number;
  /** Null where it is not at hand. */
  readonly definition: StudyDefinition | null;
}

/**
 * What a methods paragraph says of the pooled answer beside a clinic's own, with the works it cites. What the answer
 * lacks, or withholds, is not claimed.
 */
export function pooledMethods(told: PoolTold): MethodsBeside {
  return {
    sentences: [
      groupSentence(told),
      ...definitionSentences(told),
      ...twoStageSentences(told.measure),
      ...oneStageSentences(told.measure),
      ...competingSentences(told.measure),
      withheldSentence(told),
    ],
    works: WORKS,
  };
}

function groupSentence({ release, definitionVersion, centres, patients, level }: PoolTold): string {
  return `Beside the clinic's own answer stands the pooled answer (number ${countText(release)}) of ${countText(centres)} centres with ${patientRangeText(patients)}, all of them judged by version ${countText(definitionVersion)} of one study definition, with intervals at ${levelText(level)}.`;
}

function definitionSentences({ definition, measure: { measure } }: PoolTold): string[] {
  const known = findMeasure(measure);
  if (definition === null || known === undefined) return [];
  const { coarsening, reference, rule, threshold } = definition;
  const growth = !known.grows
    ? ''
    : reference.kind === 'growth-table'
      ? ` Expected growth came from one table (${reference.table.name}: ${reference.table.source}).`
      : ` Expected growth came from ${POOLED_REFERENCE_WORDS[reference.kind].toLowerCase()}.`;
  const asked = thresholdText({ threshold }, known);
  return [
    `There a gain was taken to stay while there was ${asked}. ${RULE_WORDS[rule]}${growth} Records reached the pool pseudonymised, with consent for it, ages in bands of ${coarsening.ageStepMonths === 1 ? '1 month' : `${coarsening.ageStepMonths} months`} and days in steps of ${coarsening.dayStep}, made less precise where fewer than ${coarsening.smallestGroup} of a clinic were alike.`,
  ];
}

function twoStageSentences({ quantities }: ViewedMeasure): string[] {
  const means = quantities.flatMap(({ twoStage, ...rest }) =>
    twoStage === null || isRefusal(twoStage) ? [] : [{ ...rest, mean: twoStage }],
  );
  if (means.length === 0) return [];
  const prediction = means.some(({ mean }) => mean.prediction !== null)
    ? ", prediction intervals by Student's distribution on two degrees of freedom less than centres (Higgins, Thompson and Spiegelhalter 2009)"
    : '';
  const isSpreadTold = means.some(({ mean }) => mean.iSquared !== null);
  const spread = isSpreadTold
    ? ', and I² as the share of the variance that lies between centres (Higgins and Thompson 2002)'
    : '';
  const profile = isSpreadTold ? ' with limits by the Q profile (Viechtbauer 2007)' : '';
  const scale = means.some((one) => one.scale === 'log-minus-log')
    ? ' Shares of patients who still have the gain were pooled on the scale log(-log S).'
    : '';
  const common = means.some(({ mean }) => mean.commonSd > 0)
    ? ' What the shared growth table is uncertain by was added as if it moved all centres alike.'
    : '';
  const without = means.some(({ withoutOne }) => withoutOne.length > 0)
    ? ' Each centre was left out in turn (Viechtbauer and Cheung 2010).'
    : '';
  return [
    `In two stages, the centres' own estimates were pooled by a random-effects model: variance between centres by restricted maximum likelihood (Viechtbauer 2005)${profile}, interval of the mean by the method of Hartung, Knapp, Sidik and Jonkman (Hartung and Knapp 2001; Sidik and Jonkman 2002), never shorter than the variance within centres allows (Röver, Knapp and Friede 2015)${prediction}${spread}.${scale}${common}${without}`,
  ];
}

/** How all patients are taken as one series, by kind of result. */
const ONE_STAGE: Readonly<Record<'retained-share' | 'survival' | 'parts', string>> = {
  'retained-share': "the ratio of mean gains with Fieller's confidence set (Fieller 1954)",
  survival: 'the interval-censored curve of all patients (Turnbull 1976) with resampled patients',
  parts:
    'a linear mixed model with patients within centres and random departures of both (Laird and Ware 1982; Satterthwaite 1946)',
};

function oneStageSentences({ quantities }: ViewedMeasure): string[] {
  const kindOf = (kind: QuantityKind): keyof typeof ONE_STAGE =>
    kind === 'retained-share' || kind === 'survival' ? kind : 'parts';
  const kinds = new Set(
    quantities.flatMap(({ kind, oneStage }) =>
      oneStage === null || isRefusal(oneStage) ? [] : [kindOf(kind)],
    ),
  );
  if (kinds.size === 0) return [];
  const ways = [...kinds].map((kind) => ONE_STAGE[kind]);
  return [
    `In one stage (Debray and others 2015), all patients were taken as one series: ${ways.join('; ')}. That speaks for the patients of these centres and not for other centres.`,
  ];
}

function competingSentences({ competing, survivalDifferences }: ViewedMeasure): string[] {
  const tested = survivalDifferences !== null && !isRefusal(survivalDifferences);
  return [
    ...(tested
      ? [
          'That centres lose the gain at different times was tested by a score test for interval-censored times (Sun 1996).',
        ]
      : []),
    ...(competing.length > 0
      ? ['Cumulative incidences over all patients follow Aalen and Johansen 1978.']
      : []),
  ];
}

function withheldSentence({ smallestCell }: PoolTold): string {
  return smallestCell < 2
    ? 'No number of the pool was withheld for being small.'
    : `Numbers of fewer than ${patientsText(smallestCell)} were withheld, and so was whatever would have given them away by subtraction.`;
}
