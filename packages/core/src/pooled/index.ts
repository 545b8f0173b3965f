export * from './centre-statistics';
