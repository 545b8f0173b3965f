export { fitCox } from './cox-regression';
export type { CoxCoefficient, CoxFit, CoxModel, CoxOptions, CoxRefusal, CoxTest } from './cox-regression';
export type { CoxData, CoxDataRefusal } from './cox-data';
export type { CoxTies } from './risk-sets';
