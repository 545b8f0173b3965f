import { readBundle } from '../host/bundle';
import { runCommandLine } from './run-command-line';
import { processTerminal } from './terminal';

const context = { terminal: processTerminal(), bundle: readBundle(__dirname) };

void runCommandLine(process.argv.slice(2), context).then((exitCode) => {
  process.exitCode = exitCode;
});
