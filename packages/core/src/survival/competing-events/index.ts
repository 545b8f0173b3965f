export * from './aalen-johansen';
export type { CompetingRefusal, CompetingTimes } from './competing-times';
export * from './gray-test';
export type { IncidenceScale } from './incidence-limits';
export * from './incidence-readings';
export type { IncidenceVariance } from './incidence-variance';
