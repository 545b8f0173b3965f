export * from './fixed-effect-tests';
export * from './linear-mixed-model';
export { prepareMixedModel, type MixedModel, type TermBasis } from './mixed-model';
export type {
  MixedData,
  MixedRefusal,
  MixedRefusalCode,
  NamedColumn,
  RandomStructure,
  RandomTerm,
  ResidualModel,
} from './model-data';
export { IN_RANGE } from './model-data';
export * from './predicted-means';
export {
  fittedValues,
  predictRandomEffects,
  type FittedValues,
  type PredictedEffects,
  type RandomEffects,
} from './predictions';
export type { RelativeFactor, RelativeFactors } from './relative-factor';
export type { Singularity } from './singularity';
export { symmetricEigen } from './symmetric-eigen';
export { varianceComponents, type VarianceComponent } from './variance-components';
export * from './variance-profile';
