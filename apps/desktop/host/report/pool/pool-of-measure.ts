import type { OutcomeAnswer } from '@longhold/core/answers';
import {
  questionDifferences,
  type PoolTold,
  type QuestionDifference,
  type ViewedMeasure,
} from '@longhold/core/pooled';
import type { NoAnswerReason, PoolBeside, ReleasedAnswer } from '../../pooling/pool-beside';

/** Why a report shows nothing of a pool. */
export type NoPoolReason =
  | NoAnswerReason
  /** The study group does not ask about the measure of the report. */
  | 'not-in-definition'
  /** Every result of the measure is withheld, and there is none of this clinic's own. */
  | 'withheld';

/** What the pool says of the measure of one report. */
export interface PoolOfMeasure extends PoolTold {
  readonly role: Extract<PoolBeside, { readonly kind: 'released' }>['role'];
  /** This clinic's id in the answer; null for others than a centre. */
  readonly ownCentre: string | null;
  /** What the centres are called that may be told apart. */
  readonly numbers: ReleasedAnswer['numbers'];
  /** Numbers of patients of the pool are told to the nearest multiple of this; 1 for who sees the centres. */
  readonly countStep: number;
  /** Names the store of the service; release numbers count within it. */
  readonly epoch: string;
  /** Whether something was sent since that is not in the answer. */
  readonly newer: boolean;
  /** In what the report's question is another one than the study's; null where the definition is not at hand. */
  readonly differences: readonly QuestionDifference[] | null;
}

/** The part of a pooled answer that belongs to a report, or why there is none. */
export function poolOfMeasure(beside: PoolBeside, answer: OutcomeAnswer): PoolOfMeasure | NoPoolReason {
  if (beside.kind === 'none') return beside.why;
  const { role, ownCentre, released, definition } = beside;
  const { view } = released;
  const measure = view.measures.find((one) => one.measure === answer.measure.code);
  if (measure === undefined) return 'not-in-definition';
  if (!saysSomething(measure)) return 'withheld';
  return {
    role,
    ownCentre,
    numbers: released.numbers,
    epoch: released.epoch,
    release: released.release,
    newer: released.newer,
    definitionVersion: released.definition,
    definition,
    centres: released.centres,
    patients: released.patients,
    smallestCell: view.smallestCell,
    countStep: view.countStep,
    level: view.level,
    measure,
    differences: definition === null ? null : questionDifferences(answer, definition),
  };
}

/** Why a result cannot be had says something too. */
function saysSomething({ quantities, flowByCentre }: ViewedMeasure): boolean {
  return (
    flowByCentre.length > 1 ||
    quantities.some(
      ({ own, rows, twoStage, oneStage, between }) =>
        rows.length > 0 || [own, twoStage, oneStage, between].some((result) => result !== null),
    )
  );
}
