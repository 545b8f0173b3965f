import { cumulativeIncidenceMethod } from './cumulative-incidence-method';
import { grayTestMethod } from './gray-test-method';
import type { ComputeMethod } from './method';

/** Competing events, as they are called from outside. */
export const COMPETING_EVENTS_METHODS: readonly ComputeMethod[] = [cumulativeIncidenceMethod, grayTestMethod];
