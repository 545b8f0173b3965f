export * from './fixed-effect-tests';
export * from './linear-mixed-model';
export { prepareMixedModel, type MixedModel, type TermBasis } from './mixed-model';
export * from './model-data';
export * from './predictions';
export type { RelativeFactor, RelativeFactors } from './relative-factor';
export type { Singularity } from './singularity';
export type { VarianceComponent } from './variance-components';
export * from './variance-profile';
