import { writeGrowthTables, writeImportFiles, type ImportFileTexts } from '@longhold/core/intake';
import { generateDemo, type Demo, type DemoOptions } from './generate';

/** The texts of the demo's files, by file name. */
export interface DemoFiles {
  readonly 'patients.csv': string;
  readonly 'measurements.csv': string;
  readonly 'events.csv': string;
  readonly 'growth-table.csv': string;
  /** What was planted; not for import. */
  readonly 'truth.json': string;
}

/** The invented study as files in the form in which a clinic would import its own, and its truth beside them. */
export function demoFiles(options: DemoOptions): DemoFiles {
  return filesOfDemo(generateDemo(options));
}

/** The files of an invented study that has been drawn already. */
export function filesOfDemo({ study, tables, truth }: Demo): DemoFiles {
  const texts: ImportFileTexts = writeImportFiles(study);
  return {
    'patients.csv': texts.patients,
    'measurements.csv': texts.measurements,
    'events.csv': texts.events,
    'growth-table.csv': writeGrowthTables(tables),
    'truth.json': `${JSON.stringify(truth, null, 2)}\n`,
  };
}
