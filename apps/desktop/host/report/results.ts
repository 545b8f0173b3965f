import {
  absenceSentence,
  gaveWaySentence,
  groupsSentence,
  missingSentence,
  participantsOf,
  referenceSentence,
  retentionSentence,
  RULE_WORDS,
  sensitivitySentence,
  separationSentence,
  survivalSentence,
  thresholdText,
  type OutcomeAnswer,
  type Participants,
  type SensitivityAnswer,
  type SurvivalAnswer,
} from '@longhold/core/answers';
import type { ReferenceSeries } from '@longhold/core/growth';
import type { PoolBeside } from '../pooling/pool-beside';
import { poolOfMeasure } from './pool/pool-of-measure';
import { poolSentence } from './pool/pool-words';
import { poolFields } from './pool/results-pool';
import { gainColumnsOf, patientColumns } from './results-columns';
import { curveOf } from './results-curve';
import { modelsOf, referencesOf, sensitivityOf } from './results-of-models';
import { ratioOf } from './results-ratio';
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
  /** The same question with one thing changed at a time. */
  readonly sensitivity: SensitivityAnswer;
  /** Version of the program. */
  readonly version: string;
  /** From `studyFingerprint`. */
  readonly fingerprint: string;
  readonly generatedFor: ReportSource;
  /** What the pool says beside it, or why nothing. */
  readonly pool: PoolBeside;
}

/** The answer in the form of results.json, checked against its schema. */
export function resultsOf(input: ReportInput): Results {
  const { answer, sensitivity, version, fingerprint, generatedFor } = input;
  const pool = poolOfMeasure(input.pool, answer);
  return resultsSchema.parse({
    format: 5,
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
      separation: separationSentence(answer),
      groups: groupsSentence(answer),
      gaveWay: gaveWaySentence(answer),
      absence: absenceSentence(answer),
      sensitivity: sensitivitySentence(sensitivity),
      references: referenceSentence(sensitivity, answer.measure),
      missing: missingSentence(answer),
      pool: poolSentence(pool),
    },
    participants: participantsFields(participantsOf(answer)),
    gain: answer.gain,
    retained: answer.retained.map(({ share, ...year }) => ({ ...year, ...ratioOf(share) })),
    changes: [...answer.changes],
    above: answer.above.map(({ year, n, measured, corrected }) => ({
      year,
      n,
      measured,
      estimate: corrected?.estimate ?? null,
      limits: corrected?.limits ?? null,
    })),
    survival: answer.survival === null ? null : survivalOf(answer.survival),
    ...modelsOf(answer),
    gains: gainColumnsOf(answer.gains),
    sensitivity: sensitivityOf(sensitivity),
    references: referencesOf(sensitivity),
    pool: poolFields(pool),
    statusCounts: answer.statusCounts,
    flow: [...answer.flow],
    leftOut: answer.leftOut.map(({ reason, codes }) => ({ reason, codes: [...codes] })),
    warnings: [...answer.warnings],
    ...patientColumns(answer),
  } satisfies Results);
}

function participantsFields({ counts, quartiles, ...rest }: Participants): Results['participants'] {
  return {
    ...rest,
    counts: counts.map(({ groups, ...one }) => ({ ...one, groups: [...groups] })),
    quartiles: [...quartiles],
  };
}

function definitionsOf({
  question,
  measure,
  methodError,
  reference,
  rows,
}: OutcomeAnswer): Results['definitions'] {
  const { code, name, definition, unit, direction, grows } = measure;
  const { sd, retracingSd, source, duplicates, provenance, films, smallestDetectableChange } = methodError;
  return {
    question,
    measure: { code, name, definition, unit, direction, grows },
    methodError: {
      sd,
      retracingSd,
      source,
      pairs: duplicates?.pairs ?? 0,
      limits: duplicates?.dahlbergLimits ?? null,
      provenance,
      films: {
        sd: films.sd,
        source: films.source,
        visits: films.own?.visitsWithFilms ?? 0,
        degreesOfFreedom: films.own?.df ?? 0,
        limits: films.own?.betweenFilms?.limits ?? null,
        provenance: films.provenance,
      },
      smallestDetectableChange,
    },
    reference: { ...referenceOf(reference), curve: curveOf(rows.curve) },
    inWords: { threshold: thresholdText(question, measure), rule: RULE_WORDS[question.rule] },
  };
}

function referenceOf(
  reference: OutcomeAnswer['reference'],
): Omit<Results['definitions']['reference'], 'curve'> {
  const empty = { series: [], degreesOfFreedom: null, rateSd: null, residualSd: null, note: null };
  switch (reference.kind) {
    case 'not-needed':
      return { ...empty, kind: reference.kind };
    case 'none':
      return { ...empty, kind: reference.kind, note: reference.reason };
    case 'imported-table':
      return {
        ...empty,
        kind: reference.kind,
        series: seriesOf(reference.series),
        rateSd: reference.rateSd,
        note: `${reference.name}: ${reference.source}`,
      };
    case 'built-in-table':
    case 'untreated-series': {
      const series = seriesOf(reference.series);
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

function seriesOf(series: readonly ReferenceSeries[]): Results['definitions']['reference']['series'] {
  return series.map(({ ages: [youngest, oldest], ...counts }) => ({ ...counts, youngest, oldest }));
}

function survivalOf({
  turnbull,
  kaplanMeier,
  byRule,
  ...counts
}: SurvivalAnswer): NonNullable<Results['survival']> {
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
    byRule: byRule.map((row) => ({ ...row, atYears: [...row.atYears] })),
    kaplanMeier: { atYears: [...kaplanMeier.atYears], curve: [...kaplanMeier.points] },
  };
}
