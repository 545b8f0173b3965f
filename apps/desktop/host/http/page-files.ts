import { readFile } from 'node:fs/promises';
import { extname, isAbsolute, join, relative } from 'node:path';

const TYPES: Readonly<Record<string, string>> = {
  '.html': 'text/html; charset=utf-8',
  '.js': 'text/javascript; charset=utf-8',
  '.css': 'text/css; charset=utf-8',
  '.svg': 'image/svg+xml',
  '.png': 'image/png',
  '.woff2': 'font/woff2',
  '.json': 'application/json',
};

/** One file of the built page. */
export interface PageFile {
  readonly type: string;
  readonly content: Buffer;
}

/**
 * A file of the built page by its address path; null for anything that is not a file of it. An address cannot
 * reach outside the folder, however it is written.
 */
export async function pageFile(folder: string, pathname: string): Promise<PageFile | null> {
  const name = decodedPath(pathname);
  if (name === null || name.includes('\0')) return null;
  const file = join(folder, name === '/' ? 'index.html' : name);
  const inside = relative(folder, file);
  if (inside.startsWith('..') || isAbsolute(inside)) return null;
  const type = TYPES[extname(file)];
  if (type === undefined) return null;
  const content = await readFile(file).catch(() => null);
  return content === null ? null : { type, content };
}

function decodedPath(pathname: string): string | null {
  try {
    return decodeURIComponent(pathname);
  } catch {
    return null;
  }
}
