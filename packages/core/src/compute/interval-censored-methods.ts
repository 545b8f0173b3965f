import { intervalCensoredLogRank } from './interval-censored-log-rank';
import { acceleratedFailureTime } from './interval-censored-regression';
import { turnbullMethod } from './interval-censored-turnbull';
import type { ComputeMethod } from './method';

export const INTERVAL_CENSORED_METHODS: readonly ComputeMethod[] = [
  turnbullMethod,
  intervalCensoredLogRank,
  acceleratedFailureTime,
];
