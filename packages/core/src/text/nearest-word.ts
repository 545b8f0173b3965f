const LONGEST_COMPARED = 40;

/**
 * The word that takes the fewest single-letter changes to reach from `text`, ignoring case, or null when none
 * is near (more than two changes, or more than half of the letters). Ties go to the earlier word.
 */
export function nearestWord(text: string, words: readonly string[]): string | null {
  if (text.length > LONGEST_COMPARED) return null;
  const wanted = text.toLowerCase();
  let best: string | null = null;
  let fewest = Math.min(2, Math.floor(text.length / 2)) + 1;
  for (const word of words) {
    const changes = lettersChanged(wanted, word.toLowerCase());
    if (changes < fewest) {
      fewest = changes;
      best = word;
    }
  }
  return best;
}

/** Levenshtein's edit distance, one row of the usual table at a time. */
function lettersChanged(from: string, to: string): number {
  let above = Array.from({ length: to.length + 1 }, (_, index) => index);
  for (let i = 1; i <= from.length; i += 1) {
    const row = [i];
    for (let j = 1; j <= to.length; j += 1) {
      const swapped = (above[j - 1] ?? 0) + (from[i - 1] === to[j - 1] ? 0 : 1);
      row.push(Math.min(swapped, (above[j] ?? 0) + 1, (row[j - 1] ?? 0) + 1));
    }
    above = row;
  }
  return above[to.length] ?? 0;
}
