/** One line of the tables, and whether the interval covered clearly less often than it claims. */
export interface Row {
  readonly line: string;
  readonly short: boolean;
}

/** Points of a per cent below the claim, beyond the noise of the simulation, from which an interval is called short. */
export const SHORT_BY = 1;

const COLUMNS = { claimed: 2, covered: 3, noise: 5 } as const;

/** A row of the page with its verdict, from its line alone, so that rows of an earlier run can be read back. */
export function rowOf(line: string): Row {
  const cells = line.split('|').map((cell) => cell.replaceAll('*', '').trim());
  const [claimed, covered, noise] = [COLUMNS.claimed, COLUMNS.covered, COLUMNS.noise].map((column) =>
    Number.parseFloat(cells[column + 1] ?? ''),
  );
  return { line, short: (covered ?? NaN) < (claimed ?? NaN) - (noise ?? NaN) - SHORT_BY };
}

/** The lines under each heading of a page that was written before, by heading. */
export function chaptersOf(page: string): Map<string, string[]> {
  const chapters = new Map<string, string[]>();
  for (const part of page.split(/^## /m).slice(1)) {
    const [title = '', ...lines] = part.split('\n');
    chapters.set(title, lines);
  }
  return chapters;
}

/** The rows among the lines of a chapter: what follows a table's heading and its rule. */
export function rowsAmong(lines: readonly string[]): Row[] {
  return lines.filter((line) => line.startsWith('| ') && line.includes('**')).map(rowOf);
}
