import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { resultsFields } from './results-fields';

const page = readFileSync(new URL('../../docs/report.md', import.meta.url), 'utf8');

/** `path: description` of every row of the page's tables. */
function fieldsOnPage(): string[] {
  return page
    .split('\n')
    .map((line) => /^\| `([^`]+)` +\| (.*?) +\|$/.exec(line))
    .flatMap((match) => (match === null ? [] : [`${match[1]}: ${match[2]}`]));
}

describe('the page that explains results.json', () => {
  it('lists every field of the schema, and no other, with the same words', () => {
    expect(fieldsOnPage()).toEqual(resultsFields().map(({ path, description }) => `${path}: ${description}`));
  });
});
