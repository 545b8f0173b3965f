import { mkdir } from 'node:fs/promises';
import { dirname, join } from 'node:path';
import { withStoreErrors } from '../host/store/driver-errors';
import { StoreError } from '../host/store/errors';
import { writeWhole } from '../host/store/files';
import { CommandFault, EXIT } from './command-fault';

/** Writes files into a folder, which is made if need be. Each is there as a whole or not at all. */
export async function writeFiles(folder: string, texts: Readonly<Record<string, string>>): Promise<void> {
  try {
    await mkdir(folder, { recursive: true });
    for (const [name, text] of Object.entries(texts)) {
      const path = join(folder, name);
      await withStoreErrors(path, () => writeWhole(path, text, 'replace'));
    }
  } catch (thrown) {
    throw fileFault(folder, thrown);
  }
}

/** Writes one file, whose folder is made if need be. It is there as a whole or not at all. */
export async function writeFile(path: string, content: string | Uint8Array): Promise<void> {
  try {
    await mkdir(dirname(path), { recursive: true });
    await withStoreErrors(path, () => writeWhole(path, content, 'replace'));
  } catch (thrown) {
    throw fileFault(path, thrown);
  }
}

const WORDS: Readonly<Record<string, string>> = {
  ENOENT: 'there is no such folder',
  ENOTDIR: 'it is not a folder',
  EISDIR: 'it is a folder',
  EEXIST: 'something else has that name',
  EACCES: 'permission is missing',
  EPERM: 'permission is missing',
  EROFS: 'it can only be read',
};

/** What a command ends with for a file or folder that can't be read or written. */
export function fileFault(path: string, thrown: unknown): CommandFault {
  if (thrown instanceof StoreError) return new CommandFault(EXIT.fileFault, thrown.message);
  const code = thrown instanceof Error && 'code' in thrown ? String(thrown.code) : 'unknown fault';
  return new CommandFault(EXIT.fileFault, `${path} can't be used: ${WORDS[code] ?? code}.`);
}
