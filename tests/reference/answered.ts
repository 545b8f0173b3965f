import { isRefusal, type Refusal } from '@longhold/core/numeric';

/** An answer that must not be a refusal. */
export function answered<Answer>(answer: Answer | Refusal): Answer {
  if (isRefusal(answer)) throw new Error(answer.message);
  return answer;
}
