import type {
  ExpectedCourse,
  OutcomeAnswer,
  OutcomeQuestionInput,
  PlanningAnswer,
  PlanningInput,
  SensitivityAnswer,
} from '@longhold/core/answers';
import type { ImportedTable } from '@longhold/core/growth';
import type { Refusal } from '@longhold/core/numeric';
import type { Study } from '@longhold/core/records';
import type { FailureReason } from '../failure';
import type { Made, MakingTask } from '../pooling/making';
import type { MakingState } from '../pooling/making-thread';
import type { PoolBeside } from '../pooling/pool-beside';
import type { Report, ReportSource } from '../report';
import type { PoolingValue } from '../store';

/**
 * What the host asks of the worker. The records are sent once for each state of them: growth tables and the first
 * patients as `records`, the other patients as `more-records`.
 */
export type WorkerRequest =
  | {
      readonly kind: 'records';
      readonly study: Study;
      readonly tables: readonly ImportedTable[];
    }
  | { readonly kind: 'more-records'; readonly study: Study }
  /** A state of the store's pooling: all but the records at the service, which follow in parts as `more-heads`. */
  | { readonly kind: 'pooling'; readonly state: MakingState }
  | { readonly kind: 'more-heads'; readonly heads: readonly (readonly [string, PoolingValue<'head'>])[] }
  | { readonly kind: 'make'; readonly id: number; readonly task: MakingTask }
  | { readonly kind: 'answer' | 'sensitivity'; readonly id: number; readonly question: OutcomeQuestionInput }
  | {
      readonly kind: 'planning';
      readonly id: number;
      readonly question: OutcomeQuestionInput;
      readonly input: PlanningInput;
    }
  | {
      readonly kind: 'course';
      readonly id: number;
      readonly question: OutcomeQuestionInput;
      readonly code: string;
    }
  | {
      readonly kind: 'report';
      readonly id: number;
      readonly question: OutcomeQuestionInput;
      readonly input: ReportRequest;
    };

/** What a report needs beside the records and the question. */
export interface ReportRequest {
  readonly sensitivity: SensitivityAnswer;
  /** Version of the program. */
  readonly version: string;
  readonly source: ReportSource;
  readonly pool: PoolBeside;
}

/** What the worker answers, to the request of that id. */
export type WorkerReply =
  | { readonly kind: 'progress'; readonly id: number; readonly fraction: number; readonly step: string }
  | { readonly kind: 'answer'; readonly id: number; readonly answer: OutcomeAnswer }
  | { readonly kind: 'sensitivity'; readonly id: number; readonly sensitivity: SensitivityAnswer }
  | { readonly kind: 'planning'; readonly id: number; readonly planning: PlanningAnswer | Refusal }
  | { readonly kind: 'course'; readonly id: number; readonly course: ExpectedCourse | null }
  | { readonly kind: 'report'; readonly id: number; readonly report: Report }
  | { readonly kind: 'make'; readonly id: number; readonly made: Made }
  | {
      readonly kind: 'failed';
      readonly id: number;
      readonly reason: FailureReason;
      readonly message: string;
    };

/** The replies that hold what was asked for. */
export type WorkerResult = Exclude<WorkerReply, { kind: 'progress' | 'failed' }>;
