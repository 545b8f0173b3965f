export { buildReport, type Report } from './build-report';
export { studyFingerprint } from './fingerprint';
export { type ReportInput, type ReportSource } from './results';
export { resultsSchema, type Results } from './results-schema';
