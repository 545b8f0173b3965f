import type { z } from 'zod';
import { nearestWord } from '../text';

/** Why a call was not answered. `places` is empty where the shape was right but the data can't answer. */
export interface ComputeFault {
  readonly refused: string;
  readonly message: string;
  readonly places: readonly Place[];
}

interface Place {
  readonly path: string;
  readonly message: string;
}

/** More places than this are counted, not listed: a column with a wrong type is wrong in every row. */
const MOST_PLACES = 20;

/** What is wrong with the shape of an input, place by place, and what was expected there. */
export function shapeFault(error: z.ZodError, schema: object): ComputeFault {
  const all = placesOf(error.issues, [], schema);
  const places = all.slice(0, MOST_PLACES);
  const rest = all.length - places.length;
  const sentences = places.map(({ path, message }) => `${path}: ${message}`);
  if (rest > 0) sentences.push(`and ${rest} more places`);
  return { refused: 'wrong-input', message: sentences.join('\n'), places };
}

type Issues = z.ZodError['issues'];

function placesOf(issues: Issues, before: readonly PropertyKey[], schema: object): Place[] {
  return issues.flatMap((issue): Place[] => {
    const path = [...before, ...issue.path];
    if (issue.code === 'unrecognized_keys') {
      const known = keysAt(schema, path);
      return issue.keys.map((key) => ({ path: pathText([...path, key]), message: unknownKey(key, known) }));
    }
    if (issue.code === 'invalid_union') return placesOf([...nearestAlternative(issue.errors)], path, schema);
    return [{ path: pathText(path), message: withoutFullStop(issue.message) }];
  });
}

/** Of several shapes that all fail, the one that was followed furthest says most about what was meant. */
function nearestAlternative(alternatives: readonly (readonly Issues[number][])[]): readonly Issues[number][] {
  const depth = (issues: readonly Issues[number][]): number =>
    Math.max(0, ...issues.map(({ path }) => path.length));
  return alternatives.reduce(
    (best, issues) => (depth(issues) > depth(best) ? issues : best),
    alternatives[0] ?? [],
  );
}

function unknownKey(key: string, known: readonly string[]): string {
  const near = nearestWord(key, known);
  const guess = near === null ? '' : `; did you mean "${near}"?`;
  return `no such key${guess} (known here: ${known.join(', ')})`;
}

/** The keys that a JSON Schema knows at a place, of all its alternatives. */
function keysAt(schema: object, path: readonly PropertyKey[]): string[] {
  let nodes: object[] = [schema];
  for (const part of path) nodes = nodes.flatMap(alternatives).flatMap((node) => childAt(node, part));
  return [
    ...new Set(nodes.flatMap(alternatives).flatMap((node) => Object.keys(member(node, 'properties') ?? {}))),
  ];
}

function alternatives(node: object): object[] {
  const listed = member(node, 'anyOf') ?? member(node, 'oneOf');
  return Array.isArray(listed) ? listed.filter(isObject).flatMap(alternatives) : [node];
}

function childAt(node: object, part: PropertyKey): object[] {
  const child =
    typeof part === 'number' ? member(node, 'items') : member(member(node, 'properties') ?? {}, String(part));
  return child === undefined ? [] : [child];
}

function member(node: object, key: string): object | undefined {
  const value: unknown = Object.entries(node).find(([name]) => name === key)?.[1];
  return isObject(value) ? value : undefined;
}

function isObject(value: unknown): value is object {
  return typeof value === 'object' && value !== null;
}

/** `groups[2].time`; "input" for the whole. */
function pathText(path: readonly PropertyKey[]): string {
  const text = path.map((part) => (typeof part === 'number' ? `[${part}]` : `.${String(part)}`)).join('');
  return text === '' ? 'input' : text.replace(/^\./, '');
}

function withoutFullStop(message: string): string {
  return message.replace(/\.$/, '');
}
