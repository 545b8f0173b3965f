import { z } from 'zod';

/** One field of a message: where it stands and what it may hold, in the words of the protocol page. */
export interface ProtocolField {
  /** `items[].record.visits[].day`; of a choice by `kind`, `items[record].version`. */
  readonly path: string;
  readonly holds: string;
}

type Schema = z.core.JSONSchema.BaseSchema;

/** Texts of one form by their patterns. */
const FORMS: Readonly<Record<string, string>> = {
  '^[0-9a-f]{32}$': '32 hexadecimal digits',
  '^[0-9a-f]{64}$': '64 hexadecimal digits',
  '^[A-Za-z0-9_-]{43}$': '43 signs, base64url',
  '^[2-9A-HJ-NP-Z]{6}(-[2-9A-HJ-NP-Z]{6}){3}$': 'four times six signs, `ABC234-…`',
  '^\\d{4}-(0[1-9]|1[0-2])$': 'a month, `2026-03`',
  '^\\d{1,4}\\.\\d{1,4}\\.\\d{1,4}$': 'a version, `0.1.0`',
};

/** The fields of a message, those of the named parts left to their own tables. */
export function protocolFields(
  schema: z.ZodType,
  io: 'input' | 'output',
  parts: readonly (readonly [name: string, schema: z.ZodType])[] = [],
): ProtocolField[] {
  const known = parts.map(([name, part]) => [name, plain(part, io)] as const);
  return walk(z.toJSONSchema(schema, { io, unrepresentable: 'any', reused: 'inline' }), '', known);
}

function plain(schema: z.ZodType, io: 'input' | 'output'): string {
  return textOf(z.toJSONSchema(schema, { io, unrepresentable: 'any', reused: 'inline' }));
}

function textOf({ $schema: _dialect, ...rest }: Schema): string {
  return JSON.stringify(rest);
}

type Known = readonly (readonly [name: string, text: string])[];

function walk(schema: Schema, path: string, known: Known): ProtocolField[] {
  const part = known.find(([, text]) => text === textOf(schema));
  if (part !== undefined) return [{ path, holds: part[0] }];
  if (Array.isArray(schema.type)) {
    return walk({ anyOf: schema.type.map((type) => ({ type })) }, path, known);
  }
  const choices = choicesOf(schema);
  const isNullable = choices.some(({ type }) => type === 'null');
  const others = choices.filter(({ type }) => type !== 'null');
  const [only] = others;
  if (choices.length > 1 && others.length === 1 && only !== undefined) {
    return walk(only, path, known).map((field, i) =>
      i === 0 && isNullable ? { ...field, holds: `${field.holds}, or null` } : field,
    );
  }
  if (choices.length > 1) {
    const fields = others.flatMap((choice) => ofChoice(choice, path, known));
    const isSimple = fields.every((field) => field.path === path);
    return isSimple ? [{ path, holds: fields.map(({ holds }) => holds).join('; or ') }] : fields;
  }
  if (schema.type === 'object' && schema.properties !== undefined) {
    const inside = Object.entries(schema.properties).flatMap(([name, member]) => {
      const isOptional = schema.required?.includes(name) !== true;
      const fields = walk(asSchema(member), path === '' ? name : `${path}.${name}`, known);
      return fields.map((field, i) =>
        i === 0 && isOptional ? { ...field, holds: `${field.holds}; may be left out` } : field,
      );
    });
    return path === '' || path.endsWith(']') ? inside : [{ path, holds: 'an object' }, ...inside];
  }
  if (schema.type === 'array' && schema.prefixItems === undefined) {
    const items = Array.isArray(schema.items) ? {} : asSchema(schema.items ?? {});
    const list = `a list${span(schema.minItems, schema.maxItems)}`;
    const inside = walk(items, `${path}[]`, known);
    const [first] = inside;
    return inside.length === 1 && first?.path === `${path}[]`
      ? [{ path, holds: `${list} of: ${first.holds}` }]
      : [{ path, holds: list }, ...inside];
  }
  return [{ path, holds: simple(schema) }];
}

/** One of several forms, by the word under `kind`. */
function ofChoice(schema: Schema, path: string, known: Known): ProtocolField[] {
  const kind = asSchema(schema.properties?.['kind'] ?? {}).const;
  if (typeof kind !== 'string') return walk(schema, path, known);
  const { kind: _kind, ...properties } = schema.properties ?? {};
  const at = `${path.replace(/\[\]$/, '')}[${kind}]`;
  const inside = walk({ ...schema, properties }, at, known);
  return [{ path: `${at}.kind`, holds: `\`${kind}\`` }, ...inside];
}

function choicesOf(schema: Schema): Schema[] {
  return [...(schema.anyOf ?? schema.oneOf ?? [])].map(asSchema);
}

function asSchema(schema: Schema | boolean): Schema {
  return typeof schema === 'boolean' ? {} : schema;
}

function simple(schema: Schema): string {
  if (schema.const !== undefined) return `\`${String(schema.const)}\``;
  if (schema.enum !== undefined) return schema.enum.map((word) => `\`${String(word)}\``).join(', ');
  switch (schema.type) {
    case 'boolean':
      return '`true` or `false`';
    case 'integer':
      return `a whole number${span(schema.minimum, limit(schema.maximum))}`;
    case 'number':
      return `a number${bounds(schema)}`;
    case 'array':
      return `a list of ${String(Array.isArray(schema.prefixItems) ? schema.prefixItems.length : 0)} numbers`;
    case 'object':
      return 'numbers by name';
    case 'string':
      if (schema.format === 'uuid') return 'a UUID';
      if (schema.format === 'date-time') return 'a moment, ISO 8601, UTC';
      return FORMS[schema.pattern ?? ''] ?? `a text${span(schema.minLength, schema.maxLength)}`;
    default:
      return 'an object';
  }
}

function bounds({ minimum, exclusiveMinimum, maximum, exclusiveMaximum }: Schema): string {
  if (exclusiveMinimum === undefined && exclusiveMaximum === undefined) return span(minimum, maximum);
  const parts = [
    exclusiveMinimum === undefined ? '' : ` above ${exclusiveMinimum}`,
    minimum === undefined ? '' : ` from ${minimum}`,
    exclusiveMaximum === undefined ? '' : ` below ${exclusiveMaximum}`,
    maximum === undefined ? '' : ` up to ${maximum}`,
  ];
  return parts.join('');
}

/** The largest safe whole number is no limit of the protocol's own. */
function limit(maximum: number | undefined): number | undefined {
  return maximum === Number.MAX_SAFE_INTEGER ? undefined : maximum;
}

function span(least: number | undefined, most: number | undefined): string {
  if (least === undefined || least === -Number.MAX_SAFE_INTEGER) {
    return most === undefined ? '' : `, at most ${most}`;
  }
  return most === undefined ? `, at least ${least}` : `, ${least} to ${most}`;
}
