export type { TimeDistribution } from './error-distributions';
export * from './curve-readings';
export * from './innermost-intervals';
export * from './interval-times';
export * from './turnbull';
export * from './turnbull-interval';
export * from './time-prediction';
export * from './time-regression';
