import { join, resolve } from 'node:path';
import type { OutcomeQuestion } from '@longhold/core/answers';
import type { Host } from '../host/host';
import { resultsSchema, type Report } from '../host/report';
import { PAPERS, type Paper } from '../host/report/paper';
import { latestDate } from '@longhold/core/records';
import { oneOf, parseWords, required, type Command } from './command';
import { EXIT, wrongUse } from './command-fault';
import { writeFile, writeFiles } from './files';
import { existingStorePath, withHost } from './open-host';
import { readPassphrase } from './passphrase';
import { printPdf, requirePrinter } from './print-pdf';
import { QUESTION_OPTIONS, questionOf } from './question-options';
import { refuseAbsent } from './refuse-absent';
import type { Terminal } from './terminal';

const HELP = `longhold report --store FILE --measure CODE (--out DIR | --pdf FILE) [options]

Answers whether the gain in a measure stays, and writes DIR/report.html (one page with all
figures, without scripts) and DIR/results.json (every number; docs/report.md describes it),
or the page as PDF, or all three. Earlier files of these names are replaced. The answer in
plain words is printed. Where the store is linked to a study of several clinics, its pooling
service is asked for the pooled answer, which then stands beside the clinic's own.

  --store FILE         the clinic's store
  --out DIR            where to write page and numbers; made if need be
  --pdf FILE           where to write the page as PDF with numbered pages; needs Electron, and
                       on Linux without a display xvfb-run
  --paper PAPER        A4 or Letter, for the PDF (A4)
  --measure CODE       a measure of the catalogue (Co-Gn)
  --threshold AMOUNT   when a gain is still there: a share of it (0.75 or 75%), or an
                       amount in the measure's unit (2mm, 3deg) (75%)
  --rule RULE          what counts as a loss: any-visit, beyond-error, confirmed (confirmed)
  --reference CHOICE   where expected growth comes from: auto, untreated-series,
                       imported-table, built-in-table (auto)
  --table NAME         which imported growth table, with --reference imported-table (the first
                       by name)
  --protocol CODE      only patients of one treatment protocol
  --sex SEX            only female or only male patients
  --expansion yes|no   only patients whose upper jaw was, or was not, widened
  --maturity GROUP     only patients who were before-peak, around-peak or after-peak of growth
                       at the start
  --growth-clock CLOCK by what expected growth is read: age, or maturity (the stage at the
                       start) (age)
  --group-by GROUPING  how patients are compared: protocol, expansion, sex, maturity, gain
                       (protocol)
  --film-factor NUMBER what lengths are multiplied by to give natural size, for films that
                       carry no factor of their own (not known: such lengths are not used)
  --without-pool       leaves out what other clinics say, and does not ask the pooling service
  --as-of DATE         read the records as they were known on that day (the latest in them)
  --level LEVEL        confidence level of all intervals (0.95)

In brackets what holds when an option is left out. An option that is given twice, that has no
effect here, or that names a protocol or table that the store does not hold, is refused.
The passphrase comes from LONGHOLD_PASSPHRASE or is asked for.`;

export const reportCommand: Command = {
  name: 'report',
  summary: 'answer whether the gain stays, as a page and as numbers',
  help: HELP,
  async run(words, { terminal, bundle }) {
    const { values } = parseWords(words, {
      ...QUESTION_OPTIONS,
      store: { type: 'string' },
      out: { type: 'string' },
      pdf: { type: 'string' },
      paper: { type: 'string' },
      'without-pool': { type: 'boolean' },
    });
    const path = existingStorePath(required(values.store, '--store FILE'));
    const places = placesOf(values);
    const question = questionOf(values);
    const printer = places.pdf === null ? null : requirePrinter(bundle);
    const passphrase = await readPassphrase(terminal, 'existing');
    const report = await withHost(bundle, async (host) => {
      await host.openStore(path, passphrase);
      return buildReport(host, question, values['without-pool'] !== true, terminal);
    });
    const pdf = printer === null ? null : await printPdf(printer, report.html, places.paper);
    const written = await write(report, pdf, places);
    const { sentences } = resultsSchema.parse(JSON.parse(report.json));
    for (const sentence of Object.values(sentences)) terminal.print(sentence);
    terminal.note(`Wrote ${written.join(', ')}.`);
    return EXIT.done;
  },
};

/** Where the files of a report go; null for what is not asked for. */
interface Places {
  readonly out: string | null;
  readonly pdf: string | null;
  readonly paper: Paper;
}

function placesOf(values: {
  out?: string | undefined;
  pdf?: string | undefined;
  paper?: string | undefined;
}): Places {
  const given = (value: string | undefined, option: string): string | null =>
    value === undefined ? null : required(value, option);
  const out = given(values.out, '--out DIR');
  const pdf = given(values.pdf, '--pdf FILE');
  if (out === null && pdf === null) throw wrongUse('--out DIR or --pdf FILE is missing.');
  const pages = out === null ? [] : ['report.html', 'results.json'].map((name) => resolve(out, name));
  if (pdf !== null && pages.includes(resolve(pdf)))
    throw wrongUse(`--pdf ${pdf} is a file that --out writes too; give the PDF another name.`);
  if (pdf === null && values.paper !== undefined) throw wrongUse('--paper has no effect without --pdf FILE.');
  return { out, pdf, paper: oneOf(values.paper ?? 'A4', '--paper', PAPERS) };
}

/** Writes what was asked for, each file whole or not at all; gives their names. */
async function write(report: Report, pdf: Uint8Array | null, places: Places): Promise<string[]> {
  const { out } = places;
  if (out !== null) await writeFiles(out, { 'report.html': report.html, 'results.json': report.json });
  if (places.pdf !== null && pdf !== null) await writeFile(places.pdf, pdf);
  const pages = out === null ? [] : ['report.html', 'results.json'].map((name) => join(out, name));
  return [...pages, ...(places.pdf === null ? [] : [places.pdf])];
}

async function buildReport(
  host: Host,
  asked: OutcomeQuestion,
  withPool: boolean,
  terminal: Terminal,
): Promise<Report> {
  const open = host.requireOpen();
  const study = await open.reportStudy(withPool);
  refuseAbsent(asked, study, open.today);
  // Not today: a report that is made again next month should say the same.
  const question = { ...asked, asOf: asked.asOf ?? latestDate(study.study) };
  try {
    return await host.reports.result(host.reports.start(study, question), (fraction, step) =>
      terminal.progress(`${step}: ${Math.round(100 * fraction)} %`),
    );
  } finally {
    terminal.progress('');
  }
}
