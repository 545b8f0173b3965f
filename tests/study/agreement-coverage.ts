import type { CoverageStudy } from './coverage-study';

export const AGREEMENT_COVERAGE: readonly CoverageStudy[] = [];
