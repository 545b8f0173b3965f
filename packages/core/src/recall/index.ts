export * from './recall-list';
