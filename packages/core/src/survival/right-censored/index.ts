export * from './kaplan-meier';
