import type { CoverageStudy } from './coverage-study';

export const COMPETING_EVENTS_COVERAGE: readonly CoverageStudy[] = [];
