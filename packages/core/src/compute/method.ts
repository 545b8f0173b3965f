import { z } from 'zod';
import { isRefusal, type Refusal } from '../numeric';
import { shapeFault, type ComputeFault } from './shape-fault';

/** What JSON can hold. A number is always finite; what is not defined is null. */
export type JsonValue =
  string | number | boolean | null | readonly JsonValue[] | { readonly [key: string]: JsonValue | undefined };

/** How one statistical method is described and called from outside. */
interface MethodDefinition<Shape extends z.ZodType, Answer extends object> {
  /** Lower case with hyphens, as the literature names the method. */
  readonly name: string;
  /** One line for the list of methods. */
  readonly summary: string;
  /** Paper or book, author and year. */
  readonly source: string;
  /** Shape of the input, a strict object: unknown keys are refused. Each key says its meaning by `.describe()`. */
  readonly input: Shape;
  /** Meaning and unit of every key at the top of the answer. */
  readonly answer: Readonly<Record<keyof Answer & string, string>>;
  /** A worked call that docs/compute.md shows; `about` says where its data are from, or that they are invented. */
  readonly example: { readonly about: string; readonly input: z.input<Shape> };
  /** Answers or refuses; neither throws nor leaves a number undefined. */
  readonly run: (input: z.output<Shape>) => Answer | Refusal;
}

/** One method with its types closed in: anything may be passed to `call`. */
export interface ComputeMethod {
  readonly name: string;
  readonly summary: string;
  readonly source: string;
  readonly answer: Readonly<Record<string, string>>;
  readonly example: { readonly about: string; readonly input: unknown };
  /** JSON Schema (draft 2020-12) of the input, made from the schema that checks it. */
  jsonSchema(): object;
  call(input: unknown): { readonly answer: JsonValue } | { readonly fault: ComputeFault };
}

/** Turns a definition into a method that can be listed and called with unchecked input. */
export function defineMethod<Shape extends z.ZodType, Answer extends object>(
  definition: MethodDefinition<Shape, Answer>,
): ComputeMethod {
  const { name, summary, source, input, answer, example, run } = definition;
  const jsonSchema = (): object => z.toJSONSchema(input, { io: 'input' });
  return {
    name,
    summary,
    source,
    answer,
    example,
    jsonSchema,
    call(given) {
      const parsed = input.safeParse(given);
      if (!parsed.success) return { fault: shapeFault(parsed.error, jsonSchema()) };
      const result = run(parsed.data);
      if (isRefusal(result)) return { fault: { ...result, places: [] } };
      return { answer: asJson(result, 'answer') };
    },
  };
}

/**
 * The answer as plain JSON: typed arrays become lists.
 * @throws RangeError for a number that is not finite, which a method must never give: a reader would take the
 *   null that JSON makes of it for "not defined"
 */
function asJson(value: unknown, path: string): JsonValue {
  if (typeof value === 'number') {
    if (Number.isFinite(value)) return value;
    throw new RangeError(`${path} is ${value}`);
  }
  if (value === null || typeof value === 'string' || typeof value === 'boolean') return value;
  if (value instanceof Float64Array || value instanceof Int32Array || value instanceof Uint32Array) {
    return Array.from(value, (entry, i) => entryAsJson(entry, path, i));
  }
  if (Array.isArray(value)) return value.map((entry: unknown, i) => entryAsJson(entry, path, i));
  if (typeof value === 'object') {
    const entries = Object.entries(value).filter(([, entry]) => entry !== undefined);
    return Object.fromEntries(entries.map(([key, entry]) => [key, asJson(entry, `${path}.${key}`)]));
  }
  throw new RangeError(`${path} is not something JSON can hold`);
}

/** Long columns of numbers are let through without a text for each of their places. */
function entryAsJson(entry: unknown, path: string, index: number): JsonValue {
  return typeof entry === 'number' && Number.isFinite(entry) ? entry : asJson(entry, `${path}[${index}]`);
}
