export * from './duplicates';
export * from './method-error';
