import type { CoverageStudy } from './coverage-study';

export const INTERVAL_CENSORED_COVERAGE: readonly CoverageStudy[] = [];
