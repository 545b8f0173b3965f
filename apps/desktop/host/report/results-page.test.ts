import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { z } from 'zod';
import { resultsSchema } from './index';

const page = readFileSync(new URL('../../../../docs/report.md', import.meta.url), 'utf8');

interface Schema {
  readonly description?: string;
  readonly properties?: Readonly<Record<string, Schema>>;
  readonly items?: Schema;
  readonly anyOf?: readonly Schema[];
}

/** `path: description` of every field, as the schema has it; `[]` stands for each member of a list. */
function fieldsOf(schema: Schema, path: string): string[] {
  const own = path === '' || schema.description === undefined ? [] : [`${path}: ${schema.description}`];
  /* The question is documented in one place only: by its own schema in core. */
  if (path === 'definitions.question') return own;
  const members = Object.entries(schema.properties ?? {}).flatMap(([name, member]) =>
    fieldsOf(member, path === '' ? name : `${path}.${name}`),
  );
  const inside = [...(schema.anyOf ?? []), ...(schema.items === undefined ? [] : [schema.items])];
  const suffix = schema.items === undefined ? '' : '[]';
  return [...own, ...members, ...inside.flatMap((part) => fieldsOf(part, `${path}${suffix}`))];
}

/** `path: description` of every row of the page's tables. */
function fieldsOnPage(): string[] {
  return page
    .split('\n')
    .map((line) => /^\| `([^`]+)` +\| (.*?) +\|$/.exec(line))
    .flatMap((match) => (match === null ? [] : [`${match[1]}: ${match[2]}`]));
}

describe('the page that explains results.json', () => {
  it('lists every field of the schema, and no other, with the same words', () => {
    const fields = [...new Set(fieldsOf(z.toJSONSchema(resultsSchema, { io: 'output' }) as Schema, ''))];
    expect(fieldsOnPage()).toEqual(fields);
  });
});
