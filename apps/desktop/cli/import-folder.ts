import { readFile } from 'node:fs/promises';
import { join } from 'node:path';
import { importFileSchema, type ImportFile, type ImportTexts } from '@longhold/core/intake';
import { fileFault } from './files';
import { CommandFault, EXIT } from './command-fault';

/** The texts of those of the import files that a folder holds. At least one must be there. */
export async function readImportFolder(folder: string): Promise<ImportTexts> {
  const texts = {
    patients: await readIfThere(folder, 'patients.csv'),
    measurements: await readIfThere(folder, 'measurements.csv'),
    events: await readIfThere(folder, 'events.csv'),
    growthTables: await readIfThere(folder, 'growth-table.csv'),
  };
  if (Object.values(texts).some((text) => text !== null)) return texts;
  const names = importFileSchema.options.join(', ');
  throw new CommandFault(EXIT.fileFault, `${folder} holds none of the files to import: ${names}.`);
}

/** Bytes that are not UTF-8 become the replacement character, which the reading of the file names by its place. */
async function readIfThere(folder: string, name: ImportFile): Promise<string | null> {
  const path = join(folder, name);
  try {
    return new TextDecoder('utf-8').decode(await readFile(path));
  } catch (thrown) {
    if (thrown instanceof Error && 'code' in thrown && thrown.code === 'ENOENT') return null;
    throw fileFault(path, thrown);
  }
}
