export * from './calendar';
export * from './history';
export * from './maturity-group';
export * from './patient';
export * from './readings';
export * from './visit';
export * from './vocabulary';
