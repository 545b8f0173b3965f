/** How the program ends, for scripts that call it. docs/command-line.md tells users of each. */
export const EXIT = {
  done: 0,
  faultsInInput: 1,
  wrongUse: 2,
  storeFault: 3,
  fileFault: 4,
  notPrinted: 5,
  serviceFault: 6,
  internal: 70,
} as const;
export type ExitCode = (typeof EXIT)[keyof typeof EXIT];

/** A fault that ends a command: what to tell the user, and how to end. */
export class CommandFault extends Error {
  readonly exitCode: ExitCode;

  constructor(exitCode: ExitCode, message: string) {
    super(message);
    this.name = 'CommandFault';
    this.exitCode = exitCode;
  }
}

/** A command line that can't be understood. */
export function wrongUse(message: string): CommandFault {
  return new CommandFault(EXIT.wrongUse, message);
}
