import { COMPUTE_METHODS, type ComputeMethod } from '@longhold/core/compute';
import { jsonText } from '../../apps/desktop/cli/json-text';

const PREFACE = `# The statistician's door

\`longhold compute METHOD\` reads JSON on the standard input and prints JSON: the very functions that give the numbers on
screen, so that anyone can check them against their own. \`compute --list\` lists the methods, and \`compute METHOD
--schema\` prints the JSON Schema of the input, made from the same schema that checks it. In \`sh\`, "longhold" stands for
\`npm run --silent longhold --\`.

- Columns of one input have equal lengths; row i of one goes with row i of the others. (Two independent groups may differ in
  length.) Times may have any unit; the answer has the same.
- Abbreviations: SD standard deviation, ICC intraclass correlation, ML maximum likelihood, REML restricted maximum
  likelihood, BCa bias-corrected and accelerated.
- Unknown keys are refused. Input that is wrong or cannot answer ends with exit code 1 and says on the standard error what was
  wrong, where, and what would be right; nothing is printed on the standard output then.
- A number is never NaN or infinite: what is not defined, or has no end, is \`null\`.
- The answer carries the method, the program's version and a fingerprint of the bytes that were read. Resampling uses
  the seed given: the same input gives the same digits.
- Formulas and sources are in [statistics.md](statistics.md), the comparison with R in \`tests/reference\`, and how often the
  intervals cover in [validation.md](validation.md).

This page is written by \`npm run docs:compute\`, and a test runs every call on it.
`;

/** The page docs/compute.md: every method with its input, a worked call and the meaning of the answer. */
export function computePage(): string {
  return [PREFACE, contents(), ...COMPUTE_METHODS.flatMap(subjectSection)].join('\n');
}

function contents(): string {
  const rows = COMPUTE_METHODS.flatMap(({ methods }) =>
    methods.map(({ name, summary }) => `| [\`${name}\`](#${name}) | ${escaped(summary)} |`),
  );
  return ['| method | what it does |', '| --- | --- |', ...rows, ''].join('\n');
}

function subjectSection({ subject, methods }: (typeof COMPUTE_METHODS)[number]): string[] {
  return methods.length === 0 ? [] : [`## ${subject}\n`, ...methods.map(methodSection)];
}

function methodSection(method: ComputeMethod): string {
  return [
    `### ${method.name}`,
    '',
    `${sentence(method.summary)} Source: ${sentence(method.source)}`,
    '',
    ...inputTable(method),
    '',
    method.example.about,
    '',
    '```sh',
    `longhold compute ${method.name} <<'JSON'`,
    jsonText(method.example.input),
    'JSON',
    '```',
    '',
    '```json',
    jsonText(exampleAnswer(method)),
    '```',
    '',
    '| answer | meaning |',
    '| --- | --- |',
    ...Object.entries(method.answer).map(([key, meaning]) => `| \`${key}\` | ${escaped(meaning)} |`),
    '',
  ].join('\n');
}

function exampleAnswer(method: ComputeMethod): unknown {
  const outcome = method.call(method.example.input);
  if ('answer' in outcome) return outcome.answer;
  throw new Error(`the example of ${method.name} is refused: ${outcome.fault.message}`);
}

function inputTable(method: ComputeMethod): string[] {
  const rows = inputRows(method.jsonSchema(), '');
  return ['| input | meaning |', '| --- | --- |', ...rows];
}

/** One row a key, those of objects below it as `key.inner`. */
function inputRows(schema: object, prefix: string): string[] {
  const node = schema as { properties?: Record<string, object>; required?: string[] };
  return Object.entries(node.properties ?? {}).flatMap(([key, child]) => {
    const { description, default: byDefault } = child as { description?: string; default?: unknown };
    if (description === undefined) throw new Error(`${prefix}${key} has no description`);
    const optional = node.required?.includes(key) === true ? '' : ' (optional)';
    const otherwise =
      byDefault === undefined ? optional : ` (\`${JSON.stringify(byDefault)}\` when left out)`;
    const row = `| \`${prefix}${key}\` | ${escaped(description)}${escaped(otherwise)} |`;
    return [row, ...inputRows(child, `${prefix}${key}.`)];
  });
}

function escaped(text: string): string {
  return text.replaceAll('|', '\\|').replaceAll('\n', ' ');
}

function sentence(text: string): string {
  return text.endsWith('.') ? text : `${text}.`;
}
