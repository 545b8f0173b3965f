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

/** What the host asks of the worker. A study is sent once for each revision; `key` names it. */
export type WorkerRequest =
  | {
      readonly kind: 'study';
      readonly key: string;
      readonly study: Study;
      readonly tables: readonly ImportedTable[];
    }
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
    };

/** What the worker answers, to the request of that id. */
export type WorkerReply =
  | { readonly kind: 'progress'; readonly id: number; readonly fraction: number; readonly step: string }
  | { readonly kind: 'answer'; readonly id: number; readonly answer: OutcomeAnswer }
  | { readonly kind: 'sensitivity'; readonly id: number; readonly sensitivity: SensitivityAnswer }
  | { readonly kind: 'planning'; readonly id: number; readonly planning: PlanningAnswer | Refusal }
  | { readonly kind: 'course'; readonly id: number; readonly course: ExpectedCourse | null }
  | {
      readonly kind: 'failed';
      readonly id: number;
      readonly reason: FailureReason;
      readonly message: string;
    };
