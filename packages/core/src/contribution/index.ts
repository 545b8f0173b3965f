export * from './clinic-contribution';
export type { CoarseningRules, RecordCoarsening } from './coarsen';
export type { ClinicContext, NotContributed, NotContributedReason, NotUsed } from './deidentify';
export * from './pooled-histories';
export * from './pooled-question';
export * from './pooled-record';
export * from './residual-risk';
export * from './study-definition';
