import { existsSync } from 'node:fs';
import { join } from 'node:path';
import { DEMO_DEFAULTS, demoFiles } from '@longhold/demo';
import { parseWords, required, wholeNumber, type Command } from './command';
import { CommandFault, EXIT } from './command-fault';
import { writeFiles } from './files';

const MOST_PATIENTS = 100_000;
const LARGEST_SEED = 2_147_483_647;

const HELP = `longhold demo --out DIR [--seed N] [--patients N]

Writes an invented study as patients.csv, measurements.csv, events.csv and growth-table.csv, in
the form in which a clinic would import its own, and truth.json with the parameters planted in it. No
patient in it is real. The same seed and number always give the same files.

  --out DIR       where to write; made if need be. Files of a clinic are never replaced,
                  only those of an earlier demo (a folder that holds truth.json).
  --seed N        a whole number (${DEMO_DEFAULTS.seed})
  --patients N    how many treated patients; two untreated children come with every five (${DEMO_DEFAULTS.patients})`;

export const demoCommand: Command = {
  name: 'demo',
  summary: 'write an invented study, to try the program on',
  help: HELP,
  async run(words, { terminal }) {
    const { values } = parseWords(words, {
      out: { type: 'string' },
      seed: { type: 'string', default: String(DEMO_DEFAULTS.seed) },
      patients: { type: 'string', default: String(DEMO_DEFAULTS.patients) },
    });
    const out = required(values.out, '--out DIR');
    const seed = wholeNumber(values.seed, '--seed', [0, LARGEST_SEED]);
    const patients = wholeNumber(values.patients, '--patients', [1, MOST_PATIENTS]);
    const files = demoFiles({ seed, patients });
    refuseToReplaceRecords(out, Object.keys(files));
    await writeFiles(out, { ...files });
    for (const name of Object.keys(files)) terminal.print(join(out, name));
    terminal.note('Everything in these files is invented.');
    return EXIT.done;
  },
};

function refuseToReplaceRecords(out: string, names: readonly string[]): void {
  if (existsSync(join(out, 'truth.json'))) return;
  const taken = names.find((name) => existsSync(join(out, name)));
  if (taken === undefined) return;
  const message = `${join(out, taken)} is there already and may hold real records. Nothing was written; choose another folder.`;
  throw new CommandFault(EXIT.fileFault, message);
}
