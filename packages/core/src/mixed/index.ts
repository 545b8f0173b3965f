export * from './linear-mixed-model';
export { prepareMixedModel, type MixedModel } from './mixed-model';
export * from './model-data';
export type { Singularity } from './singularity';
