import { build } from 'esbuild';
import { spawn, type ChildProcess } from 'node:child_process';
import { mkdirSync, mkdtempSync, rmSync } from 'node:fs';
import { join } from 'node:path';

/** Tests and programs of this folder are started from the root. */
const ROOT = process.cwd();

/** The programs of this folder, bundled so that plain Node can run them as processes of their own. */
export interface ChildPrograms {
  start(name: string, args: readonly string[], options?: StartOptions): RunningProgram;
  remove(): void;
}

export interface StartOptions {
  /** Largest file the program may write, in blocks of 512 bytes. */
  readonly fileSizeLimit?: number;
  readonly input?: string;
}

export interface RunningProgram {
  readonly process: ChildProcess;
  /** What it printed, once it has ended in whatever way. */
  readonly ended: Promise<{
    readonly output: string;
    readonly errors: string;
    readonly exitCode: number | null;
  }>;
}

export async function bundlePrograms(names: readonly string[]): Promise<ChildPrograms> {
  // Inside node_modules, so that the native driver, which can't be bundled, is found from there.
  const cache = join(ROOT, 'node_modules', '.cache');
  mkdirSync(cache, { recursive: true });
  const folder = mkdtempSync(join(cache, 'longhold-faults-'));
  await build({
    entryPoints: names.map((name) => join(ROOT, 'tests', 'faults', 'programs', `${name}.ts`)),
    outdir: folder,
    outExtension: { '.js': '.mjs' },
    bundle: true,
    platform: 'node',
    target: 'node18',
    format: 'esm',
    external: ['@libsql/client'],
    banner: {
      // Libraries in the older module format ask for the system's own modules.
      js: "import { createRequire } from 'node:module'; const require = createRequire(import.meta.url);",
    },
    logLevel: 'warning',
  });
  return {
    start: (name, args, options = {}) => startProgram([join(folder, `${name}.mjs`), ...args], options),
    remove: () => rmSync(folder, { recursive: true, force: true }),
  };
}

function startProgram(args: readonly string[], options: StartOptions): RunningProgram {
  const limit = options.fileSizeLimit;
  const command = limit === undefined ? process.execPath : '/bin/sh';
  const before = limit === undefined ? [] : ['-c', `ulimit -f ${limit}; exec "$0" "$@"`, process.execPath];
  const child = spawn(command, [...before, ...args], { stdio: ['pipe', 'pipe', 'pipe'] });
  let output = '';
  let errors = '';
  child.stdout.setEncoding('utf8').on('data', (text: string) => (output += text));
  child.stderr.setEncoding('utf8').on('data', (text: string) => (errors += text));
  child.stdin.on('error', () => undefined).end(options.input ?? '');
  const ended = new Promise<{ output: string; errors: string; exitCode: number | null }>((resolve) => {
    child.on('close', (exitCode) => resolve({ output, errors, exitCode }));
  });
  return { process: child, ended };
}
