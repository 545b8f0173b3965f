import { text } from 'node:stream/consumers';
import type { ReadStream } from 'node:tty';

/** Where a command talks. Results go to the standard output; everything said about them to the standard error. */
export interface Terminal {
  readonly env: Readonly<Record<string, string | undefined>>;
  /** Whether someone can be asked and watches: both the input and the error output are a terminal. */
  readonly interactive: boolean;
  /** One line of the result. */
  print(line: string): void;
  /** One line about the result: progress, faults, notes. */
  note(line: string): void;
  /** Replaces the line of progress; an empty text takes it away. Silent when nobody watches. */
  progress(text: string): void;
  /** Asks for a line without showing what is typed; null when the question was broken off. */
  askHidden(question: string): Promise<string | null>;
  /** Everything that comes on the standard input, to its end. */
  readInput(): Promise<string>;
}

const CLEAR_LINE = '\r\u001b[2K';

/** The terminal of this process. */
export function processTerminal(): Terminal {
  const { stdin, stdout, stderr, env } = process;
  // A reader that has seen enough (`| head`) is no fault.
  for (const stream of [stdout, stderr]) stream.on('error', () => undefined);
  const interactive = stdin.isTTY === true && stderr.isTTY === true;
  return {
    env,
    interactive,
    print: (line) => void stdout.write(`${line}\n`),
    note: (line) => void stderr.write(`${line}\n`),
    progress: (line) => {
      if (stderr.isTTY === true) stderr.write(`${CLEAR_LINE}${line}`);
    },
    askHidden: (question) => askHidden(stdin, question),
    readInput: () => text(stdin),
  };
}

const KEYS = { enter: ['\r', '\n'], breakOff: ['\u0003', '\u0004'], rubOut: ['\u007f', '\b'] } as const;

function askHidden(input: ReadStream, question: string): Promise<string | null> {
  process.stderr.write(question);
  input.setRawMode(true);
  input.setEncoding('utf8');
  input.resume();
  return new Promise((resolve) => {
    let typed: string[] = [];
    const finish = (answer: string | null): void => {
      input.off('data', take);
      input.setRawMode(false);
      input.pause();
      process.stderr.write('\n');
      resolve(answer);
    };
    const take = (chunk: string): void => {
      for (const key of chunk) {
        if (isOneOf(KEYS.enter, key)) return finish(typed.join(''));
        if (isOneOf(KEYS.breakOff, key)) return finish(null);
        if (isOneOf(KEYS.rubOut, key)) typed = typed.slice(0, -1);
        else typed.push(key);
      }
    };
    input.on('data', take);
  });
}

function isOneOf(keys: readonly string[], key: string): boolean {
  return keys.includes(key);
}
