import { createHash } from 'node:crypto';
import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { centreSheetSchema, pooledRecordSchema, studyDefinitionSchema } from '@longhold/core/contribution';
import {
  BATCH_LIMIT,
  BODY_LIMIT,
  canonicalJson,
  EPOCH_HEADER,
  PROCEDURES,
  PROTOCOL_HEADER,
  PROTOCOL_VERSION,
  refusalCodeSchema,
} from '@longhold/core/exchange';
import { centreStatisticsSchema, pooledViewSchema } from '@longhold/core/pooled';
import { statusOf } from '../../apps/sync/src/http/trpc';
import { protocolFields, type ProtocolField } from './protocol-fields';

const PAGE = readFileSync(new URL('../../docs/pooling-protocol.md', import.meta.url), 'utf8');

const PARTS = [
  ['a record', pooledRecordSchema],
  ['a study definition', studyDefinitionSchema],
  ['a sheet', centreSheetSchema],
  ['statistics', centreStatisticsSchema],
  ['a view', pooledViewSchema],
] as const;

/** What stands under a heading, up to the next one of any level. */
function section(heading: string): string {
  const [, after = ''] = PAGE.split(`\n${heading}\n`);
  return after.split(/\n##+ /)[0] ?? '';
}

interface Row extends ProtocolField {
  readonly words: string;
}

/** The rows of the tables of fields in a text, one list for each table. */
function tables(text: string): Row[][] {
  return text
    .split('\n\n')
    .map((block) => block.trim())
    .filter((block) => block.startsWith('| field'))
    .map((block) =>
      block
        .split('\n')
        .slice(2)
        .map((line) => line.split('|').map((cell) => cell.trim()))
        .map(([, path = '', holds = '', words = '']) => ({ path: path.replaceAll('`', ''), holds, words })),
    );
}

function expectFields(rows: readonly Row[] | undefined, fields: readonly ProtocolField[]): void {
  expect(rows?.map(({ path, holds }) => ({ path, holds })) ?? []).toEqual(fields);
  for (const { path, words } of rows ?? []) expect(words.length, path).toBeGreaterThan(3);
}

function sha256(text: string): string {
  return createHash('sha256').update(text, 'utf8').digest('hex');
}

describe('docs/pooling-protocol.md', () => {
  it.each(Object.entries(PROCEDURES))('%s: lists just the fields of the schemas', (name, procedure) => {
    const text = section(`### \`${name}\``);
    const [input, answer] = [
      protocolFields(procedure.input, 'input', PARTS),
      protocolFields(procedure.answer, 'output', PARTS),
    ];
    const found = tables(text);
    expect(found).toHaveLength([input, answer].filter((fields) => fields.length > 0).length);
    if (input.length > 0) expectFields(found.shift(), input);
    if (answer.length > 0) expectFields(found.shift(), answer);
    for (const role of procedure.roles === 'anyone' ? ['anyone'] : procedure.roles) {
      expect(text.includes(role) || text.includes('every member'), `${name} for ${role}`).toBe(true);
    }
  });

  it.each([
    ['### A record', pooledRecordSchema, 'output'],
    ['### A study definition', studyDefinitionSchema, 'input'],
    ['### A sheet', centreSheetSchema, 'output'],
    ['### Statistics', centreStatisticsSchema, 'output'],
  ] as const)('%s: lists just the fields of the schema', (heading, schema, io) => {
    expectFields(tables(section(heading))[0], protocolFields(schema, io));
  });

  it('tells what to do about every refusal, with its status', () => {
    const rows = section('## Refusals')
      .split('\n')
      .filter((line) => line.startsWith('| `'))
      .map((line) => line.split('|').map((cell) => cell.trim()));
    expect(rows.map(([, code, status]) => [code, status])).toEqual(
      refusalCodeSchema.options.map((code) => [`\`${code}\``, String(statusOf(code))]),
    );
    for (const [, code, , advice = ''] of rows) expect(advice.length, code).toBeGreaterThan(5);
  });

  it('gives canonical texts and digests that the program gives', () => {
    const vector = /```json\n([\s\S]*?)\n```\n\n```text\n(.*)\n([0-9a-f]{64})\n```/g;
    const vectors = [...section('## Canonical JSON and digests').matchAll(vector)];
    expect(vectors).toHaveLength(4);
    for (const [, value = '', text = '', digest = ''] of vectors) {
      expect(canonicalJson(JSON.parse(value))).toBe(text);
      expect(sha256(text)).toBe(digest);
    }
    const [first, second] = vectors.map(([, value = '']) => JSON.parse(value));
    expect(pooledRecordSchema.parse(first.record)).toEqual(first.record);
    expect(second.basedOn).toBe(vectors[0]?.[3]);
  });

  it('names version, header and limits as they are', () => {
    expect(PAGE).toContain(`\`${PROTOCOL_HEADER}: ${PROTOCOL_VERSION}\``);
    expect(PAGE).toContain(`\`${EPOCH_HEADER}: EPOCH\``);
    expect(PAGE).toContain(`at most ${BODY_LIMIT / 2 ** 20} MiB`);
    expect(PAGE).toContain(`a list, 1 to ${BATCH_LIMIT}`);
  });
});
