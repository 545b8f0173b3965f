export * from './linear-mixed-model';
