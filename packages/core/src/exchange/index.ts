export * from './canonical-json';
export * from './digests';
export * from './member-words';
export * from './messages';
export * from './pooled-messages';
export * from './procedures';
