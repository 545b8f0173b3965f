import type { ComputeMethod } from './method';

export const RATIO_METHODS: readonly ComputeMethod[] = [];
