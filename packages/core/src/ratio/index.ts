export * from './bootstrap-ratio';
export * from './fieller';
export type { PatientLabel } from './patient-totals';
export { independentRatio, pairedRatio, type PairedColumns, type RatioOfMeans } from './ratio-of-means';
