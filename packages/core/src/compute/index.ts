import { AGREEMENT_METHODS } from './agreement-methods';
import { COMPETING_EVENTS_METHODS } from './competing-events-methods';
import { COX_METHODS } from './cox-methods';
import { INTERVAL_CENSORED_METHODS } from './interval-censored-methods';
import type { ComputeMethod } from './method';
import { MIXED_METHODS } from './mixed-methods';
import { POOLING_METHODS } from './pooling-methods';
import { RATIO_METHODS } from './ratio-methods';
import { RIGHT_CENSORED_METHODS } from './right-censored-methods';
import { SEPARATION_METHODS } from './separation-methods';

export * from './method';
export type { ComputeFault } from './shape-fault';

/** All methods that can be called from outside, by subject. */
export const COMPUTE_METHODS: readonly {
  readonly subject: string;
  readonly methods: readonly ComputeMethod[];
}[] = [
  { subject: 'Survival, right-censored and left-truncated', methods: RIGHT_CENSORED_METHODS },
  { subject: 'Cox regression', methods: COX_METHODS },
  { subject: 'Survival, interval-censored', methods: INTERVAL_CENSORED_METHODS },
  { subject: 'Competing events', methods: COMPETING_EVENTS_METHODS },
  { subject: 'Linear mixed models', methods: MIXED_METHODS },
  { subject: 'Pooling of studies', methods: POOLING_METHODS },
  { subject: 'Agreement and method error', methods: AGREEMENT_METHODS },
  { subject: 'Ratio of means', methods: RATIO_METHODS },
  { subject: 'Lasting gain, and what gave way', methods: SEPARATION_METHODS },
];

/** A method by its name; undefined where there is none. */
export function findMethod(name: string): ComputeMethod | undefined {
  return COMPUTE_METHODS.flatMap(({ methods }) => methods).find((method) => method.name === name);
}
