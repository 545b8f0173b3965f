import { randomBytes } from 'node:crypto';
import { constants } from 'node:fs';
import { access, link, open, rename, rm, stat } from 'node:fs/promises';
import { dirname } from 'node:path';
import { StoreError } from './errors';

const OWNER_ONLY = 0o600;

/** Size of a file in bytes; null when there is no such file. */
export async function fileSize(path: string): Promise<number | null> {
  try {
    return (await stat(path)).size;
  } catch (thrown) {
    if (hasCode(thrown, 'ENOENT', 'ENOTDIR')) return null;
    throw thrown;
  }
}

/** Refuses a path whose folder does not exist or cannot be written (the database keeps its journal there). */
export async function requireWritableFolder(path: string): Promise<void> {
  const folder = dirname(path);
  if ((await fileSize(folder)) === null) throw new StoreError('store-folder-missing', folder);
  await requireWritable(folder);
}

export async function requireWritable(path: string): Promise<void> {
  try {
    await access(path, constants.W_OK | constants.R_OK);
  } catch {
    throw new StoreError('not-writable', path);
  }
}

/** A name beside `path` that nothing else uses, for a file that is not yet whole. */
export function unfinishedName(path: string): string {
  return `${path}.new-${randomBytes(6).toString('hex')}`;
}

/** Creates an empty file that only its owner can read; fails when it exists. */
export async function createPrivateFile(path: string): Promise<void> {
  await (await open(path, 'wx', OWNER_ONLY)).close();
}

/**
 * Writes a file so that a reader, or a cut of the power, meets the old contents or the new, never a part: written
 * aside, flushed to the disk, then moved into place.
 */
export async function writeWhole(
  path: string,
  content: string | Uint8Array,
  existing: 'replace' | 'refuse',
): Promise<void> {
  const aside = unfinishedName(path);
  try {
    const file = await open(aside, 'wx', OWNER_ONLY);
    try {
      await file.writeFile(content, 'utf8');
      await file.sync();
    } finally {
      await file.close();
    }
    if (existing === 'replace') await rename(aside, path);
    else await moveToNewName(aside, path);
  } catch (thrown) {
    await rm(aside, { force: true });
    throw thrown;
  }
  await flushFolder(dirname(path));
}

/** Moves a file to a name that must be free. A hard link refuses a taken name in one step; a move would not. */
export async function moveToNewName(from: string, to: string): Promise<void> {
  try {
    await link(from, to);
    await rm(from);
  } catch (thrown) {
    if (hasCode(thrown, 'EEXIST')) throw new StoreError('store-exists', to);
    // Some file systems of memory sticks and network drives know no hard links.
    if (!hasCode(thrown, 'EPERM', 'ENOTSUP', 'ENOSYS', 'EOPNOTSUPP')) throw thrown;
    if ((await fileSize(to)) !== null) throw new StoreError('store-exists', to);
    await rename(from, to);
  }
  await flushFolder(dirname(to));
}

/** Makes a new or moved name survive a cut of the power. Windows can't flush a folder and needs no such step. */
async function flushFolder(folder: string): Promise<void> {
  if (process.platform === 'win32') return;
  const handle = await open(folder, 'r');
  try {
    await handle.sync();
  } finally {
    await handle.close();
  }
}

function hasCode(thrown: unknown, ...codes: string[]): boolean {
  return thrown instanceof Error && 'code' in thrown && codes.includes(String(thrown.code));
}
