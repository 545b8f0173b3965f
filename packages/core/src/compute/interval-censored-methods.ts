import type { ComputeMethod } from './method';

export const INTERVAL_CENSORED_METHODS: readonly ComputeMethod[] = [];
