export * from './adjusted-gain';
export * from './course';
export * from './fieller';
export * from './group-share';
export * from './share-above-threshold';
export * from './status';
