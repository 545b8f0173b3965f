import type { ComputeMethod } from './method';

export const COMPETING_EVENTS_METHODS: readonly ComputeMethod[] = [];
