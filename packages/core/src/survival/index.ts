export * from './competing-events';
export * from './cox';
export * from './exact-limits';
export * from './false-losses';
export * from './interval-censored';
export * from './loss-interval';
export * from './right-censored';
