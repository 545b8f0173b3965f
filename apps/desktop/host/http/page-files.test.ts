import { mkdir, mkdtemp, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { pageFile } from './page-files';

let outside: string;
let folder: string;

beforeEach(async () => {
  outside = await mkdtemp(join(tmpdir(), 'longhold-files-'));
  folder = join(outside, 'page');
  await mkdir(join(folder, 'assets'), { recursive: true });
  await mkdir(join(outside, 'page-secret'));
  await writeFile(join(folder, 'index.html'), 'page');
  await writeFile(join(folder, 'assets', 'main.js'), 'script');
  await writeFile(join(folder, 'notes.txt'), 'no type of a page');
  await writeFile(join(outside, 'secret.json'), 'secret');
  await writeFile(join(outside, 'page-secret', 'secret.json'), 'secret');
});
afterEach(() => rm(outside, { recursive: true, force: true }));

describe('the files of the page', () => {
  it('are served with the type of their name, and the folder itself is its first page', async () => {
    expect((await pageFile(folder, '/'))?.content.toString()).toBe('page');
    expect((await pageFile(folder, '/assets/main.js'))?.type).toBe('text/javascript; charset=utf-8');
  });

  it.each([
    '/../secret.json',
    '/..%2fsecret.json',
    '/%2e%2e/secret.json',
    '/assets/../../secret.json',
    '/..\\secret.json',
    '/../page-secret/secret.json',
    '//secret.json',
    '/secret.json\0.html',
    '/%',
    '/assets',
    '/assets/',
    '/notes.txt',
    '/nothing.html',
  ])('%j is not one of them', async (pathname) => {
    expect(await pageFile(folder, pathname)).toBeNull();
  });

  it('are not reached by an absolute path', async () => {
    expect(await pageFile(folder, join(outside, 'secret.json'))).toBeNull();
  });
});
