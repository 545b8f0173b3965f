import { createHash } from 'node:crypto';
import { COMPUTE_METHODS, findMethod, type ComputeMethod } from '@longhold/core/compute';
import { nearestWord } from '@longhold/core/text';
import { parseWords, type Command } from './command';
import { CommandFault, EXIT, wrongUse } from './command-fault';
import { jsonText } from './json-text';
import { readJson } from './read-json';

const HELP = `longhold compute METHOD < input.json
longhold compute METHOD --schema
longhold compute --list

Works out one statistical method on data given as JSON on the standard input, and prints the
answer as JSON: the same code that gives the numbers on screen, for those who check them.
No store is opened. docs/compute.md shows a worked call of every method.

  --list      the methods, by subject
  --schema    the JSON Schema of the method's input

Keys that a method does not know are refused. What is not defined is null; a number is never
NaN or infinite. Input that is wrong, or that cannot answer, ends with 1 and says on the
standard error what was wrong, where, and what would be right.`;

export const computeCommand: Command = {
  name: 'compute',
  summary: 'work out one statistical method on data of your own, as JSON',
  help: HELP,
  async run(words, { terminal, bundle }) {
    const { values, positionals } = parseWords(
      words,
      { list: { type: 'boolean' }, schema: { type: 'boolean' } },
      words.includes('--list') ? [] : ['METHOD'],
    );
    if (values.list === true) {
      if (values.schema === true) throw wrongUse('--list and --schema do not go together.');
      terminal.print(methodList());
      return EXIT.done;
    }
    const method = methodNamed(positionals[0] ?? '');
    if (values.schema === true) {
      terminal.print(jsonText(method.jsonSchema()));
      return EXIT.done;
    }
    if (terminal.interactive) terminal.note('Reading JSON from the terminal; Ctrl-D ends it.');
    const text = await terminal.readInput();
    terminal.print(jsonText({ ...traceOf(method, bundle.version, text), answer: answerOf(method, text) }));
    return EXIT.done;
  },
};

function methodList(): string {
  return COMPUTE_METHODS.map(({ subject, methods }) =>
    [subject, ...methods.map(({ name, summary }) => `  ${name.padEnd(NAME_WIDTH)} ${summary}`)].join('\n'),
  ).join('\n\n');
}

const NAME_WIDTH = Math.max(
  ...COMPUTE_METHODS.flatMap(({ methods }) => methods.map(({ name }) => name.length)),
);

function methodNamed(name: string): ComputeMethod {
  const method = findMethod(name);
  if (method !== undefined) return method;
  const names = COMPUTE_METHODS.flatMap(({ methods }) => methods.map((known) => known.name));
  const near = nearestWord(name, names);
  const guess = near === null ? '' : ` Did you mean ${near}?`;
  throw wrongUse(`There is no method "${name}".${guess} "longhold compute --list" shows them all.`);
}

/** What the answer rests on: method, version, and a fingerprint of the very bytes that were read. */
function traceOf(method: ComputeMethod, version: string, text: string) {
  const fingerprint = createHash('sha256').update(text).digest('hex');
  return { method: method.name, version, inputFingerprint: `sha256:${fingerprint}` };
}

function answerOf(method: ComputeMethod, text: string) {
  const outcome = method.call(parsedOrRefused(text, method));
  if ('answer' in outcome) return outcome.answer;
  throw new CommandFault(EXIT.faultsInInput, `${outcome.fault.refused}:\n${outcome.fault.message}`);
}

function parsedOrRefused(text: string, method: ComputeMethod): unknown {
  if (text.trim() === '') {
    const hint = `"longhold compute ${method.name} --schema" shows what it takes.`;
    throw new CommandFault(EXIT.faultsInInput, `Nothing came on the standard input. ${hint}`);
  }
  return readJson(text);
}
