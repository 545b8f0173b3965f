import {
  missingSentence,
  retentionSentence,
  RULE_WORDS,
  survivalSentence,
  thresholdText,
  type OutcomeAnswer,
  type PatientOutcome,
  type RatioInterval,
  type SurvivalAnswer,
} from '@longhold/core/answers';
import { resultsSchema, type Results } from './results-schema';

/** Which store the records came from. */
export interface ReportSource {
  readonly storeName: string;
  /** True for the invented demo study; the report then says so. */
  readonly demo: boolean;
}

/** What a report is made of. */
export interface ReportInput {
  readonly answer: OutcomeAnswer;
  /** Version of the program. */
  readonly version: string;
  /** From `studyFingerprint`. */
  readonly fingerprint: string;
  readonly generatedFor: ReportSource;
}

/** The answer in the form of results.json, checked against its schema. */
export function resultsOf({ answer, version, fingerprint, generatedFor }: ReportInput): Results {
  return resultsSchema.parse({
    format: 1,
    software: { name: 'Longhold', version },
    source: {
      store: generatedFor.storeName,
      invented: generatedFor.demo,
      fingerprint,
      treated: answer.treated,
      untreated: answer.untreated,
    },
    asOf: answer.asOf,
    definitions: definitionsOf(answer),
    sentences: {
      retention: retentionSentence(answer),
      survival: survivalSentence(answer),
      missing: missingSentence(answer),
    },
    gain: answer.gain,
    retained: answer.retained.map(({ share, ...year }) => ({ ...year, ...ratioOf(share) })),
    above: answer.above.map(({ year, n, measured, corrected }) => ({
      year,
      n,
      measured,
      estimate: corrected?.estimate ?? null,
      limits: corrected?.limits ?? null,
    })),
    survival: answer.survival === null ? null : survivalOf(answer.survival),
    statusCounts: answer.statusCounts,
    flow: [...answer.flow],
    leftOut: answer.leftOut.map(({ reason, codes }) => ({ reason, codes: [...codes] })),
    warnings: [...answer.warnings],
    patients: answer.patients.map(patientOf),
  } satisfies Results);
}

function definitionsOf({ question, measure, methodError, reference }: OutcomeAnswer): Results['definitions'] {
  const { code, name, definition, unit, direction, grows } = measure;
  const { sd, source, duplicates, provenance, smallestDetectableChange } = methodError;
  return {
    question,
    measure: { code, name, definition, unit, direction, grows },
    methodError: {
      sd,
      source,
      pairs: duplicates?.pairs ?? 0,
      limits: duplicates?.dahlbergLimits ?? null,
      provenance,
      smallestDetectableChange,
    },
    reference: referenceOf(reference),
    inWords: { threshold: thresholdText(question, measure), rule: RULE_WORDS[question.rule] },
  };
}

function referenceOf(reference: OutcomeAnswer['reference']): Results['definitions']['reference'] {
  const empty = { series: [], degreesOfFreedom: null, rateSd: null, residualSd: null, note: null };
  switch (reference.kind) {
    case 'not-needed':
      return { ...empty, kind: reference.kind };
    case 'none':
      return { ...empty, kind: reference.kind, note: reference.reason };
    case 'built-in-table':
    case 'untreated-series': {
      const series = reference.series.map(({ ages: [youngest, oldest], ...counts }) => ({
        ...counts,
        youngest,
        oldest,
      }));
      const { kind, rateSd } = reference;
      return kind === 'built-in-table'
        ? {
            ...empty,
            kind,
            series,
            rateSd,
            note: `${reference.provenance.text} (${reference.provenance.kind})`,
          }
        : {
            ...empty,
            kind,
            series,
            rateSd,
            degreesOfFreedom: reference.degreesOfFreedom,
            residualSd: reference.residualSd,
          };
    }
  }
}

type Ratio = Pick<Results['retained'][number], 'estimate' | 'limits' | 'intervalKind'>;

function ratioOf(share: { readonly estimate: number; readonly interval: RatioInterval } | null): Ratio {
  if (share === null) return { estimate: null, limits: null, intervalKind: null };
  const { estimate, interval } = share;
  switch (interval.kind) {
    case 'bounded':
    case 'unbounded':
      return {
        estimate,
        limits: { lower: interval.lower, upper: interval.upper },
        intervalKind: interval.kind,
      };
    // A set with one end needs a denominator limit of exactly 0; the file has no place for it, and the whole line holds it.
    case 'at-least':
    case 'at-most':
    case 'whole-line':
      return { estimate, limits: null, intervalKind: 'whole-line' };
  }
}

function survivalOf({ turnbull, kaplanMeier, ...counts }: SurvivalAnswer): NonNullable<Results['survival']> {
  const { points, intervals, atYears, ...fit } = turnbull;
  return {
    ...counts,
    intervalCensored: {
      ...fit,
      atYears: [...atYears],
      curve: [...points],
      intervals: intervals.map((interval) => ({
        ...interval,
        /* JSON knows no infinity. */
        right: Number.isFinite(interval.right) ? interval.right : null,
      })),
    },
    kaplanMeier: { atYears: [...kaplanMeier.atYears], curve: [...kaplanMeier.points] },
  };
}

function patientOf({ visits, ...patient }: PatientOutcome): Results['patients'][number] {
  return {
    ...patient,
    visits: visits.map((visit) => ({
      kind: visit.kind,
      age: visit.age,
      years: visit.years,
      value: visit.value,
      readings: visit.readings,
      expectedValue: visit.expected?.value ?? null,
      gain: visit.gain,
      share: visit.share === null ? null : ratioOf(visit.share),
      status: visit.status,
    })),
  };
}
