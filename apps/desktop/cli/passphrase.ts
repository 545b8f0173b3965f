import { CommandFault, EXIT, wrongUse } from './command-fault';
import type { Terminal } from './terminal';

const VARIABLE = 'LONGHOLD_PASSPHRASE';

/** The passphrase of a store: from the environment, else asked for. A new one is asked for twice. */
export async function readPassphrase(terminal: Terminal, store: 'existing' | 'new'): Promise<string> {
  const given = terminal.env[VARIABLE];
  if (given !== undefined && given !== '') return given;
  if (!terminal.interactive) {
    throw new CommandFault(
      EXIT.storeFault,
      `No passphrase. Set ${VARIABLE}, or run the command in a terminal and be asked for it.`,
    );
  }
  const passphrase = await ask(terminal, store === 'new' ? 'New passphrase: ' : 'Passphrase: ');
  if (store === 'new' && (await ask(terminal, 'The same passphrase again: ')) !== passphrase) {
    throw new CommandFault(EXIT.storeFault, 'The two passphrases differ. Nothing was created.');
  }
  return passphrase;
}

/** Something that must not be an argument: from the environment, else asked for. */
export async function readSecret(terminal: Terminal, variable: string, question: string): Promise<string> {
  const given = terminal.env[variable];
  if (given !== undefined && given !== '') return given;
  if (terminal.interactive) return ask(terminal, `${question}: `);
  throw wrongUse(`Set ${variable}, or run the command in a terminal and be asked for it.`);
}

async function ask(terminal: Terminal, question: string): Promise<string> {
  const answer = await terminal.askHidden(question);
  if (answer === null || answer === '') throw new CommandFault(EXIT.storeFault, 'No passphrase was given.');
  return answer;
}

/** Arguments are seen by everyone on the machine and kept by the shell, so a passphrase among them is refused. */
export function refusePassphraseArgument(words: readonly string[]): void {
  if (!words.some((word) => /^--?pass(phrase|word)?(=|$)/.test(word))) return;
  throw wrongUse(
    `A passphrase is never taken as an argument, because other users of this machine could read it. Set ${VARIABLE}, or be asked for it.`,
  );
}
