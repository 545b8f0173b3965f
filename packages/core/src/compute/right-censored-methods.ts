import { kaplanMeierMethod } from './kaplan-meier-method';
import { logRankMethod } from './log-rank-method';
import type { ComputeMethod } from './method';

/** Curves and tests for right-censored times. */
export const RIGHT_CENSORED_METHODS: readonly ComputeMethod[] = [kaplanMeierMethod, logRankMethod];
