import type { CommandContext } from './command';
import { EXIT, wrongUse, type ExitCode } from './command-fault';
import { COMMANDS } from './commands';
import { faultOfHost } from './open-host';
import { refusePassphraseArgument } from './passphrase';

/** Runs one command line (without the program's own name) and says how it ended. Never rejects. */
export async function runCommandLine(words: readonly string[], context: CommandContext): Promise<ExitCode> {
  try {
    refusePassphraseArgument(words);
    return await runWords(words, context);
  } catch (thrown) {
    const { message, exitCode } = faultOfHost(thrown);
    context.terminal.note(message);
    if (exitCode === EXIT.wrongUse) context.terminal.note(hint(words[0]));
    return exitCode;
  }
}

async function runWords(words: readonly string[], context: CommandContext): Promise<ExitCode> {
  const { terminal, bundle } = context;
  const [name, ...rest] = words;
  if (name === '--version') {
    terminal.print(`Longhold ${bundle.version}`);
    return EXIT.done;
  }
  if (name === '--help' || name === '-h') return help(undefined, context);
  if (name === 'help') {
    if (rest[1] !== undefined) throw wrongUse(`"${rest[1]}" is one word too many.`);
    return help(rest[0], context);
  }
  if (name === undefined) throw wrongUse('No command was given.');
  const command = findCommand(name);
  if (rest.includes('--help') || rest.includes('-h')) return help(name, context);
  return command.run(rest, context);
}

function help(name: string | undefined, { terminal }: CommandContext): ExitCode {
  terminal.print(name === undefined ? OVERVIEW : findCommand(name).help);
  return EXIT.done;
}

function findCommand(name: string) {
  const found = COMMANDS.find((command) => command.name === name);
  if (found !== undefined) return found;
  const names = COMMANDS.map((command) => command.name).join(', ');
  throw wrongUse(`There is no command "${name}". The commands are ${names} and help.`);
}

function hint(name: string | undefined): string {
  const known = COMMANDS.some((command) => command.name === name);
  return known ? `"longhold help ${name}" shows how it is used.` : '"longhold help" shows what there is.';
}

const OVERVIEW = `longhold COMMAND [options]

Follows treated patients for years after active treatment and answers whether the skeletal
gain stays. Decision support for research and audit; not a diagnosis, not a medical device.

${COMMANDS.map(({ name, summary }) => `  ${name.padEnd(10)} ${summary}`).join('\n')}
  ${'help'.padEnd(10)} this, or with the name of a command all about it
  ${'--version'.padEnd(10)} the version

Here "longhold" stands for "npm run --silent longhold --".
A passphrase comes from LONGHOLD_PASSPHRASE or is asked for; it is never an argument.
The program ends with 0 when all is done, 1 when the files to import or the input to compute
on have faults, 2 when the command line is wrong, 3 when the store can't be used, 4 when
another file or folder can't be used, 5 when no PDF can be printed here, 6 when the
pooling service can't be reached or refuses, and 70 for a fault of its own.`;
