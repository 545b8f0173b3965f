import type { CoverageStudy } from './coverage-study';

export const RIGHT_CENSORED_COVERAGE: readonly CoverageStudy[] = [];
