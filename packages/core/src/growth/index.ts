export * from './built-in-table';
export * from './imported-table';
export * from './maturity-clock';
export * from './natural-spline';
export * from './reference';
export * from './stage-place';
export * from './untreated-series';
export * from './velocity';
