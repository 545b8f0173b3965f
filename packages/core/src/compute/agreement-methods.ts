import type { ComputeMethod } from './method';

export const AGREEMENT_METHODS: readonly ComputeMethod[] = [];
