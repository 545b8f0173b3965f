export * from './catalogue';
export * from './chin-position';
export * from './definition';
export * from './sagittal-occlusal';
export * from './measure-title';
