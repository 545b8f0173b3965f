import type { CoverageStudy } from './coverage-study';

export const RATIO_COVERAGE: readonly CoverageStudy[] = [];
