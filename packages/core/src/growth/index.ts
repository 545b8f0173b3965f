export * from './built-in-table';
export * from './maturity-clock';
export * from './natural-spline';
export * from './reference';
export * from './untreated-series';
export * from './velocity';
