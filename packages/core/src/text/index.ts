export * from './nearest-word';
