import type { CoverageStudy } from './coverage-study';

export const MIXED_COVERAGE: readonly CoverageStudy[] = [];
