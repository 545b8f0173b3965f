import type { CoverageStudy } from './coverage-study';

export const COX_COVERAGE: readonly CoverageStudy[] = [];
