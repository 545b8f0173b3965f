import { startServing, type FirstOpen, type Serving } from '../host/serve';
import { parseWords, wholeNumber, type Command, type CommandContext } from './command';
import { CommandFault, EXIT, wrongUse } from './command-fault';
import { openBrowser } from './open-browser';
import { existingStorePath } from './open-host';
import { readPassphrase } from './passphrase';
import { stopSignal } from './stop-signal';

const HELP = `longhold serve [--store FILE | --demo] [--port N] [--browser]

Serves the program to a browser on this machine and prints its address, with a key in it
that works once. Ctrl-C ends it.

  --store FILE   opens this store; its passphrase comes from LONGHOLD_PASSPHRASE or is asked for
  --demo         opens the invented demo study
  --port N       the port on 127.0.0.1 (any that is free)
  --browser      opens the address in a browser, where there is a screen`;

export const serveCommand: Command = {
  name: 'serve',
  summary: 'serve the program to a browser on this machine',
  help: HELP,
  async run(words, context) {
    // First of all, so that a signal during the start still leaves nothing behind.
    const stopped = stopSignal();
    const { values } = parseWords(words, {
      store: { type: 'string' },
      demo: { type: 'boolean', default: false },
      port: { type: 'string', default: '0' },
      browser: { type: 'boolean', default: false },
    });
    const port = wholeNumber(values.port, '--port', [0, 65_535]);
    const serving = await start(await firstOpen(values.store, values.demo, context), port, context);
    context.terminal.print(serving.address);
    if (values.browser) openBrowser(serving.address, context.terminal.env);
    await stopped;
    await serving.close();
    return EXIT.done;
  },
};

async function firstOpen(
  store: string | undefined,
  demo: boolean,
  { terminal }: CommandContext,
): Promise<FirstOpen> {
  if (store === undefined) return { kind: demo ? 'demo' : 'nothing' };
  if (demo) throw wrongUse('--store and --demo exclude each other.');
  return {
    kind: 'store',
    path: existingStorePath(store),
    passphrase: await readPassphrase(terminal, 'existing'),
  };
}

async function start(open: FirstOpen, port: number, { bundle }: CommandContext): Promise<Serving> {
  try {
    return await startServing(bundle, { open, port });
  } catch (thrown) {
    const taken = thrown instanceof Error && 'code' in thrown && thrown.code === 'EADDRINUSE';
    if (!taken) throw thrown;
    throw new CommandFault(EXIT.fileFault, `Port ${port} is taken by another program; choose another one.`);
  }
}
