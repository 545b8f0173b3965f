import type { ComputeMethod } from './method';

export const COX_METHODS: readonly ComputeMethod[] = [];
