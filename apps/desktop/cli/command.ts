import { parseArgs, type ParseArgsConfig } from 'node:util';
import type { Bundle } from '../host/bundle';
import { wrongUse, type ExitCode } from './command-fault';
import type { Terminal } from './terminal';

/** What every command is given. */
export interface CommandContext {
  readonly terminal: Terminal;
  readonly bundle: Bundle;
}

/** One command of the command line. */
export interface Command {
  readonly name: string;
  /** What it does, in a few words, for the list of commands. */
  readonly summary: string;
  /** All that `help` says of it; its first line shows how it is written. */
  readonly help: string;
  run(words: readonly string[], context: CommandContext): Promise<ExitCode>;
}

type OptionsConfig = NonNullable<ParseArgsConfig['options']>;

/** The words of a command line, sorted into options and the rest. */
export function parseWords<Options extends OptionsConfig>(
  words: readonly string[],
  options: Options,
  positionals: readonly string[] = [],
) {
  const parsed = parseOrRefuse(words, options);
  refuseRepeated(parsed.tokens);
  const missing = positionals[parsed.positionals.length];
  if (missing !== undefined) throw wrongUse(`${missing} is missing.`);
  const surplus = parsed.positionals[positionals.length];
  if (surplus !== undefined) throw wrongUse(`"${surplus}" is one word too many.`);
  return parsed;
}

function parseOrRefuse<Options extends OptionsConfig>(words: readonly string[], options: Options) {
  try {
    return parseArgs({ args: [...words], options, allowPositionals: true, strict: true, tokens: true });
  } catch (thrown) {
    // The parser's first sentence names the option; what follows explains its own conventions.
    const sentence = thrown instanceof Error ? thrown.message.split('. ')[0] : 'The options are wrong';
    throw wrongUse(`${sentence}.`);
  }
}

/** Of an option that is given twice one would be passed over in silence. */
function refuseRepeated(tokens: readonly { readonly kind: string; readonly rawName?: string }[]): void {
  const names = tokens.flatMap(({ rawName }) => rawName ?? []);
  const repeated = names.find((name, i) => names.indexOf(name) < i);
  if (repeated !== undefined) throw wrongUse(`${repeated} is given more than once.`);
}

/** An option that has to be there. */
export function required(value: string | undefined, option: string): string {
  if (value === undefined || value === '') throw wrongUse(`${option} is missing.`);
  return value;
}

/** A whole number within bounds. */
export function wholeNumber(text: string, option: string, [low, high]: readonly [number, number]): number {
  const value = Number(text);
  if (/^\d+$/.test(text) && value >= low && value <= high) return value;
  throw wrongUse(`${option} takes a whole number from ${low} to ${high}, not "${text}".`);
}

/** One of a list of words. */
export function oneOf<Word extends string>(text: string, option: string, words: readonly Word[]): Word {
  const found = words.find((word) => word === text);
  if (found !== undefined) return found;
  throw wrongUse(`${option} takes ${words.join(', ')}, not "${text}".`);
}
