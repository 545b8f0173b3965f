import { z } from 'zod';
import { resultsSchema } from '../../apps/desktop/host/report';

/** A field of results.json: its path, `[]` for each member of a list, and what it holds. */
export interface ResultsField {
  readonly path: string;
  readonly description: string;
}

interface Schema {
  readonly description?: string;
  readonly properties?: Readonly<Record<string, Schema>>;
  readonly items?: Schema;
  readonly anyOf?: readonly Schema[];
}

/** Every field of results.json once, in the order of its schema. */
export function resultsFields(): ResultsField[] {
  const fields = fieldsOf(z.toJSONSchema(resultsSchema, { io: 'output' }) as Schema, '');
  return [...new Map(fields.map((field) => [`${field.path}: ${field.description}`, field])).values()];
}

function fieldsOf(schema: Schema, path: string): ResultsField[] {
  const { description } = schema;
  const own = path === '' || description === undefined ? [] : [{ path, description }];
  // Question and study definition are documented in one place only each.
  if (path === 'definitions.question' || path === 'pool.answer.definition') return own;
  const members = Object.entries(schema.properties ?? {}).flatMap(([name, member]) =>
    fieldsOf(member, path === '' ? name : `${path}.${name}`),
  );
  const inside = [...(schema.anyOf ?? []), ...(schema.items === undefined ? [] : [schema.items])];
  const suffix = schema.items === undefined ? '' : '[]';
  return [...own, ...members, ...inside.flatMap((part) => fieldsOf(part, `${path}${suffix}`))];
}
