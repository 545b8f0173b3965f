export * from './calendar';
export * from './history';
export * from './patient';
export * from './readings';
export * from './visit';
export * from './vocabulary';
