import type { Page } from 'playwright-core';

/** A running program, as a user has it before them. */
export interface Running {
  readonly page: Page;
  /** The user's own folder, empty at the start; stores are suggested below it. */
  readonly home: string;
  /** Ends the program as a user would, and everything that was started for it. */
  close(): Promise<void>;
}

/** One of the two ways in which the program shows itself. */
export interface Shell {
  readonly name: string;
  /** Whether this machine has what it needs. */
  readonly available: boolean;
  start(options: { readonly demo: boolean }): Promise<Running>;
}
