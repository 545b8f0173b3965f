export * from './exact-limits';
export * from './false-losses';
export * from './innermost-intervals';
export * from './kaplan-meier';
export * from './loss-interval';
export * from './turnbull';
export * from './turnbull-interval';
