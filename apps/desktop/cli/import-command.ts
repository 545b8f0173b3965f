import { existsSync } from 'node:fs';
import { changeTotal, faultText, noChanges, type ImportTexts } from '@longhold/core/intake';
import { compareImport } from '../host/compare-import';
import type { ImportResult } from '../host/open-study';
import { parseWords, required, type Command, type CommandContext } from './command';
import { EXIT, type ExitCode } from './command-fault';
import { readImportFolder } from './import-folder';
import { storePath, withHost } from './open-host';
import { readPassphrase } from './passphrase';

const HELP = `longhold import DIR --store FILE [--dry-run]

Brings the files patients.csv, measurements.csv, events.csv and growth-table.csv of the folder
DIR, or those of them that are there, into the store FILE. A store that does not exist is created. All of
it is imported or, when anything is wrong, nothing: every fault is listed on the standard
error, one a line. Importing the same files again changes nothing.

  --store FILE   the clinic's store, usually a name that ends in .longhold
  --dry-run      only says what would change; writes and creates nothing

The passphrase comes from LONGHOLD_PASSPHRASE or is asked for.`;

export const importCommand: Command = {
  name: 'import',
  summary: "bring the clinic's files into a store",
  help: HELP,
  async run(words, context) {
    const { values, positionals } = parseWords(
      words,
      { store: { type: 'string' }, 'dry-run': { type: 'boolean' } },
      ['DIR, the folder of the files to import,'],
    );
    const path = storePath(required(values.store, '--store FILE'));
    const dryRun = values['dry-run'] === true;
    const texts = await readImportFolder(positionals[0] ?? '');
    const { terminal } = context;
    if (!existsSync(path)) {
      const { result } = compareImport(texts, [], []);
      if (result.faults.length > 0) return tellFaults(result, context);
      if (dryRun) {
        terminal.note(`There is no store at ${path} yet; the import would create it. Nothing was written.`);
        return tellChanges(result, context);
      }
    }
    const result = await importInto(path, texts, dryRun, context);
    if (result.faults.length > 0) return tellFaults(result, context);
    if (dryRun) terminal.note('Dry run: nothing was written.');
    else if (changeTotal(result.changes ?? noChanges()) === 0) {
      terminal.note('Nothing to change: the store holds all of this already.');
    }
    return tellChanges(result, context);
  },
};

async function importInto(
  path: string,
  texts: ImportTexts,
  dryRun: boolean,
  { terminal, bundle }: CommandContext,
): Promise<ImportResult> {
  const isNew = !existsSync(path);
  const passphrase = await readPassphrase(terminal, isNew ? 'new' : 'existing');
  return withHost(bundle, async (host) => {
    if (isNew) {
      await host.createStore(path, passphrase);
      terminal.note(`Created the store ${path} and its key file ${path}.key. Both are needed to open it.`);
    } else await host.openStore(path, passphrase);
    const study = host.requireOpen();
    return dryRun ? study.previewImport(texts) : study.applyImport(texts);
  });
}

function tellFaults({ faults }: ImportResult, { terminal }: CommandContext): ExitCode {
  for (const fault of faults) terminal.note(faultText(fault));
  terminal.note(`${faults.length === 1 ? '1 fault' : `${faults.length} faults`}. Nothing was imported.`);
  return EXIT.faultsInInput;
}

function tellChanges({ applied, changes }: ImportResult, { terminal }: CommandContext): ExitCode {
  const verb = applied ? '' : 'would be ';
  for (const [records, { added, changed, unchanged }] of Object.entries(changes ?? noChanges())) {
    const words = records === 'growthTables' ? 'growth tables' : records;
    terminal.print(`${words}: ${added} ${verb}added, ${changed} ${verb}changed, ${unchanged} unchanged`);
  }
  return EXIT.done;
}
