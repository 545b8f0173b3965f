import type { ComputeMethod } from './method';

export const RIGHT_CENSORED_METHODS: readonly ComputeMethod[] = [];
