export * from './catalogue';
export * from './definition';
