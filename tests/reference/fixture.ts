import { readFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';

/** Absolute path of a file under tests/reference. */
export function referencePath(...parts: readonly string[]): string {
  return fileURLToPath(new URL(parts.join('/'), import.meta.url));
}

/** A committed output of one R script, `fixtures/<name>.json`. The caller states its shape. */
export function readFixture<Shape>(name: string): Shape {
  return JSON.parse(readFileSync(referencePath('fixtures', `${name}.json`), 'utf8')) as Shape;
}

/** Rows of a file of `data/published`, without its header and source lines. Values hold no commas. */
export function readPublished(name: string): string[][] {
  const lines = readFileSync(referencePath('data', 'published', name), 'utf8')
    .trim()
    .split('\n');
  const rows = lines.filter((line) => !line.startsWith('#'));
  return rows.slice(1).map((line) => line.split(','));
}

/** Numbers of a list, and null where R says NA or infinity. */
export type NumberOrNull = number | null;
