export * from './answer';
export * from './answer-outcome';
export * from './number-text';
export * from './patient-course';
export * from './prepared-question';
export * from './question';
export * from './words';
