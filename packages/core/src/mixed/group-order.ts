/** Rows gathered by group, and groups by the outer group they are nested in. */
export interface GroupOrder {
  /** Row numbers of the data, the rows of one group side by side. */
  readonly rows: Int32Array;
  /** Group g has `rows[groupStart[g]]` up to, not including, `rows[groupStart[g + 1]]`. */
  readonly groupStart: Int32Array;
  /** Outer group o has the groups `outerStart[o]` up to, not including, `outerStart[o + 1]`. */
  readonly outerStart: Int32Array;
  readonly groupLabels: readonly (string | number)[];
  /** One label an outer group; empty where nothing is nested. */
  readonly outerLabels: readonly (string | number)[];
}

/**
 * Gathers the rows of each group. Groups and outer groups keep the order in which they first appear.
 * With outer labels, equal group labels in different outer groups are different groups.
 */
export function gatherGroups(
  labels: ArrayLike<string | number>,
  outerLabels: ArrayLike<string | number> | null,
): GroupOrder {
  const size = labels.length;
  if (outerLabels === null) {
    const groups = numbered(
      labels,
      Int32Array.from({ length: size }, (_, i) => i),
    );
    return {
      rows: groups.rows,
      groupStart: groups.start,
      outerStart: Int32Array.of(0, groups.names.length),
      groupLabels: groups.names,
      outerLabels: [],
    };
  }
  const outer = numbered(
    outerLabels,
    Int32Array.from({ length: size }, (_, i) => i),
  );
  const rows = new Int32Array(size);
  const groupStart: number[] = [0];
  const outerStart: number[] = [0];
  const groupLabels: (string | number)[] = [];
  for (let o = 0; o < outer.names.length; o++) {
    const from = outer.start[o] ?? 0;
    const own = numbered(labels, outer.rows.subarray(from, outer.start[o + 1] ?? size));
    rows.set(own.rows, from);
    for (let g = 1; g < own.start.length; g++) groupStart.push(from + (own.start[g] ?? 0));
    groupLabels.push(...own.names);
    outerStart.push(groupLabels.length);
  }
  return {
    rows,
    groupStart: Int32Array.from(groupStart),
    outerStart: Int32Array.from(outerStart),
    groupLabels,
    outerLabels: outer.names,
  };
}

interface Numbered {
  readonly names: readonly (string | number)[];
  /** The given rows, gathered by label. */
  readonly rows: Int32Array;
  readonly start: Int32Array;
}

/** Numbers the labels in order of appearance and gathers the rows by a counting sort. */
function numbered(labels: ArrayLike<string | number>, rows: Int32Array): Numbered {
  const numbers = new Map<string | number, number>();
  const names: (string | number)[] = [];
  const counts: number[] = [];
  const code = new Int32Array(rows.length);
  let previous: string | number | undefined;
  let current = -1;
  for (let i = 0; i < rows.length; i++) {
    const label = labels[rows[i] ?? 0] ?? '';
    // Visits of one patient mostly follow each other, which saves the look-up.
    if (i === 0 || label !== previous) {
      current = numbers.get(label) ?? -1;
      if (current === -1) {
        current = names.push(label) - 1;
        numbers.set(label, current);
        counts.push(0);
      }
      previous = label;
    }
    code[i] = current;
    counts[current] = (counts[current] ?? 0) + 1;
  }
  const start = new Int32Array(names.length + 1);
  for (let g = 0; g < names.length; g++) start[g + 1] = (start[g] ?? 0) + (counts[g] ?? 0);
  const next = start.slice();
  const gathered = new Int32Array(rows.length);
  for (let i = 0; i < rows.length; i++) {
    const g = code[i] ?? 0;
    const place = next[g] ?? 0;
    gathered[place] = rows[i] ?? 0;
    next[g] = place + 1;
  }
  return { names, rows: gathered, start };
}
