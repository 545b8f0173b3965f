import fc from 'fast-check';
import { expect, it } from 'vitest';
import { canonicalJson } from './canonical-json';
import { versionText, versionTextOf } from './digests';
import { recordWith } from '../contribution/contribution.fixture';

/** The rule in its shortest form: JSON of the value with the keys put in order. */
function inOrder(value: unknown): unknown {
  if (Array.isArray(value)) return value.map(inOrder);
  if (value === null || typeof value !== 'object') return value;
  // A key that looks like a whole number would jump the queue in an object, so names that cannot be one are compared.
  return Object.fromEntries(
    Object.keys(value)
      .sort((a, b) => (a < b ? -1 : 1))
      .map((key) => [key, inOrder(Reflect.get(value, key))]),
  );
}

const key = fc.string().map((text) => `k${text}`);
const json = fc.letrec<{ value: unknown }>((tie) => ({
  value: fc.oneof(
    { maxDepth: 4 },
    fc.string(),
    fc.double({ noNaN: true, noDefaultInfinity: true }),
    fc.integer(),
    fc.boolean(),
    fc.constant(null),
    fc.array(tie('value'), { maxLength: 4 }),
    fc.dictionary(key, tie('value'), { maxKeys: 5 }),
  ),
})).value;

it('Canonical JSON is JSON with the keys of every object in code-unit order', () => {
  fc.assert(
    fc.property(json, (value) => {
      expect(canonicalJson(value)).toBe(JSON.stringify(inOrder(value)));
    }),
  );
  expect(canonicalJson({ b: [1, -0, 1e21], 10: '"', 9: null, é: {}, Z: [] })).toBe(
    '{"10":"\\"","9":null,"Z":[],"b":[1,0,1e+21],"é":{}}',
  );
});

it("The text of a version is canonical JSON of the version before and the record, also put together from the record's text", () => {
  const record = recordWith({});
  for (const basedOn of [null, 'ab'.repeat(32)]) {
    const text = canonicalJson({ basedOn, record });
    expect(versionText(basedOn, record)).toBe(text);
    expect(versionTextOf(basedOn, canonicalJson(record))).toBe(text);
  }
});
