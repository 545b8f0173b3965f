/**
 * How often intervals must cover the truth to be believed, over a number of independent studies: the claimed
 * level, less three and a half standard errors of a proportion, so that a sound method fails about once in
 * four thousand runs of other seeds (the seeds here are fixed). An upper bound is not set: a too wide interval is
 * found by the checks of width.
 */
export function leastCoverage(level: number, studies: number): number {
  return level - 3.5 * Math.sqrt((level * (1 - level)) / studies);
}

/** Counts, by name, how often an interval covered the truth. */
export function coverageCounter() {
  const counts = new Map<string, { covered: number; asked: number }>();
  return {
    note(name: string, covered: boolean): void {
      const count = counts.get(name) ?? { covered: 0, asked: 0 };
      count.asked++;
      if (covered) count.covered++;
      counts.set(name, count);
    },
    rows: () => [...counts].map(([name, { covered, asked }]) => ({ name, asked, coverage: covered / asked })),
  };
}
