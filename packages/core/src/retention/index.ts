export * from './adjusted-gain';
export * from './course';
export * from './group-share';
export * from './share-above-threshold';
export * from './status';
