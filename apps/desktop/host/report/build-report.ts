import { parseHTML } from 'linkedom';
import { reportPage } from './report-page';
import { resultsOf, type ReportInput } from './results';

/** The two files of a report, as texts. */
export interface Report {
  /** report.html: self-contained, without scripts. */
  readonly html: string;
  /** results.json: every number, in the form of `resultsSchema`. */
  readonly json: string;
}

/**
 * Builds the report on one answer. Pure: the same input gives the same texts. The figures are drawn in a
 * simulated document, so no browser is needed.
 */
export function buildReport(input: ReportInput): Report {
  const { document } = parseHTML('<!doctype html><html><head></head><body></body></html>');
  const results = resultsOf(input);
  return {
    html: reportPage(input, results, document),
    json: `${JSON.stringify(results)}\n`,
  };
}
