export {
  expectedOutcomes,
  type ExpectedOutcome,
  type ExpectedOutcomes,
  type SurvivalPoint,
} from './expected';
export { demoFiles, filesOfDemo, type DemoFiles } from './files';
export { generateDemo, type Demo, type DemoOptions } from './generate';
export { growthSince8, growthVelocity } from './growth-curve';
export { DEMO_MEASURES, errorSd, filmErrorSd, retracingSd, type DemoMeasure } from './measure-model';
export { CLINICS, DEMO_DEFAULTS, DEMO_TODAY, PROTOCOL_CODES, type ProtocolCode } from './parameters';
export type { TreatedTruth } from './treated-truth';
export type { DemoTruth } from './truth';
