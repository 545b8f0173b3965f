import type { ComputeMethod } from './method';

export const POOLING_METHODS: readonly ComputeMethod[] = [];
