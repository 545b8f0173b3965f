/** What went wrong, as the host names it, and what to tell the user. */
export interface Failure {
  readonly reason: string;
  readonly message: string;
}

/** Reasons the host gives are closed codes; `no-answer` is ours, for a host that can't be reached. */
export function failureOf(error: unknown): Failure {
  const reason = hostReason(error);
  if (reason !== null) return { reason, message: error instanceof Error ? error.message : reason };
  return {
    reason: 'no-answer',
    message:
      'Longhold’s own server did not answer. Nothing was changed that it had not confirmed. Close the program and start it again.',
  };
}

/** Whether an error is the host's, for one particular reason. */
export function failedBecause(error: unknown, reason: string): boolean {
  return hostReason(error) === reason;
}

function hostReason(error: unknown): string | null {
  const data = readField(error, 'data');
  const reason = readField(data, 'reason');
  return typeof reason === 'string' ? reason : null;
}

function readField(value: unknown, name: string): unknown {
  return typeof value === 'object' && value !== null && name in value ? Reflect.get(value, name) : undefined;
}
