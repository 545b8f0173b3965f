import type { ComputeMethod } from './method';

export const MIXED_METHODS: readonly ComputeMethod[] = [];
