import type { CoverageStudy } from './coverage-study';

export const POOLING_COVERAGE: readonly CoverageStudy[] = [];
