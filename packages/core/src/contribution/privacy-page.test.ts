import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { z } from 'zod';
import { PSEUDONYMISED_SENTENCE } from './contribution-words';
import { centreSheetSchema, pooledRecordSchema } from './pooled-record';
import { coarseningSchema } from './study-definition';

const page = readFileSync(new URL('../../../../docs/privacy.md', import.meta.url), 'utf8');

/** The first cells of the table under a heading, and the others of each row. */
function tableRows(heading: string): Map<string, string[]> {
  const [, after = ''] = page.split(`\n${heading}\n`);
  const rows = (after.split(/\n##+ /)[0] ?? '').split('\n').filter((line) => line.startsWith('| `'));
  const cells = rows.map((line) =>
    line
      .split('|')
      .slice(1, -1)
      .map((cell) => cell.trim()),
  );
  return new Map(cells.map(([name = '', ...others]) => [name.replaceAll('`', ''), others]));
}

const nodeSchema = z.object({
  get properties() {
    return z.record(z.string(), nodeSchema).optional();
  },
  get items() {
    return nodeSchema.optional();
  },
});

/** Every field of a schema that holds a value and no further fields, as `visits[].day`. */
function fieldsOf(node: z.infer<typeof nodeSchema>, path = ''): string[] {
  if (node.items !== undefined) return fieldsOf(node.items, `${path}[]`);
  if (node.properties === undefined) return [path];
  return Object.entries(node.properties).flatMap(([key, inner]) =>
    fieldsOf(inner, path === '' ? key : `${path}.${key}`),
  );
}

function fieldsOfSchema(schema: z.ZodType): string[] {
  return fieldsOf(nodeSchema.parse(z.toJSONSchema(schema, { io: 'input' })));
}

describe('docs/privacy.md', () => {
  it.each([
    ['## What leaves of each patient', pooledRecordSchema],
    ['## What leaves of the clinic as a whole', centreSheetSchema],
  ] as const)('%s: lists just the fields of the schema, each with a reason', (heading, schema) => {
    const rows = tableRows(heading);
    expect([...rows.keys()]).toEqual(fieldsOfSchema(schema));
    expect(rows.size).toBeGreaterThan(10);
    for (const [what = '', why = ''] of rows.values()) {
      expect(what.length).toBeGreaterThan(5);
      expect(why.length).toBeGreaterThan(5);
    }
  });

  it('gives every rule of coarsening with its default', () => {
    const defaults = coarseningSchema.parse({});
    const rows = tableRows('### Rules of the study group');
    expect([...rows].map(([rule, [value = '']]) => [rule, value.replaceAll('`', '')])).toEqual(
      Object.entries(defaults).map(([rule, value]) => [rule, String(value)]),
    );
  });

  it('says that what leaves is still personal data, in the words that the program uses', () => {
    expect(page.replaceAll('\n', ' ')).toContain(PSEUDONYMISED_SENTENCE);
  });
});
