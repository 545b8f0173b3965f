export * from './innermost-intervals';
export * from './turnbull';
export * from './turnbull-interval';
