export * from './changes';
export { IMPORT_COLUMNS } from './columns';
export {
  faultSchema,
  faultText,
  importFileSchema,
  importTextsSchema,
  type Fault,
  type FaultKind,
  type ImportFile,
  type ImportTexts,
} from './faults';
export { growthTableKey } from './growth-table-rows';
export * from './merge-growth-tables';
export * from './merge-study';
export * from './read-import';
export * from './write-import-files';
