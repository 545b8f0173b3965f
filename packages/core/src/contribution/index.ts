export * from './pooled-record';
export * from './study-definition';
