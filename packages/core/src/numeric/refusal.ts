/**
 * Why a question can't be answered from the data given: returned, never thrown. The message says what was wrong,
 * where, and what would be right, and can be shown to a user as it is.
 */
export interface Refusal<Code extends string = string> {
  readonly refused: Code;
  readonly message: string;
}

/** Makes a refusal. */
export function refuse<Code extends string>(refused: Code, message: string): Refusal<Code> {
  return { refused, message };
}

/** Tells a refusal from an answer. */
export function isRefusal<Answer>(value: Answer | Refusal): value is Refusal {
  return typeof value === 'object' && value !== null && 'refused' in value;
}
