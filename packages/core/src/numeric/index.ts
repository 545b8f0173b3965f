export * from './descriptives';
export * from './distributions';
export * from './minimise';
export * from './quadrature';
export * from './random';
export * from './symmetric';
