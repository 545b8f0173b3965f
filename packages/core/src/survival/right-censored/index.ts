export * from './groups';
export * from './kaplan-meier';
export * from './log-rank';
export type { LogRankWeighting } from './log-rank-weight';
export * from './numbers-at-risk';
export * from './probability-limits';
export * from './restricted-mean';
export * from './survival-quantile';
export type { RightCensoredTimes, TimesRefusal } from './times';
