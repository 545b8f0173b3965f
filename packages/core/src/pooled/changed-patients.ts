import type { CentreStatistics, GainSums, MeasureStatistics } from './centre-statistics';

/**
 * The least number of a centre's patients who came, changed or went between two of its statistics, as far as the sums
 * tell. With a common growth table each patient's gains stand for the patient alone, so those that are in one of the two
 * only are counted. Where growth is learnt from the centre's own untreated children one child changes them all; then,
 * and from one definition to another, only the numbers of patients are compared.
 */
export function patientsChangedAtLeast(former: CentreStatistics, next: CentreStatistics): number {
  const byNumber = Math.abs(former.treated - next.treated) + Math.abs(former.untreated - next.untreated);
  if (former.definition !== next.definition) return byNumber;
  return former.measures.reduce((most, measure) => {
    const other = next.measures.find((one) => one.measure === measure.measure);
    return other === undefined ? most : Math.max(most, gainsChanged(measure, other));
  }, byNumber);
}

function gainsChanged(former: MeasureStatistics, next: MeasureStatistics): number {
  if (former.reference.kind === 'own' || next.reference.kind === 'own') return 0;
  const before = former.separation.patients;
  const after = next.separation.patients;
  const shared = sharedEntries(before, after);
  return Math.max(before.length, after.length) - shared;
}

/** How many entries two lists have in common, each counted as often as it is in both. */
function sharedEntries(a: readonly GainSums[], b: readonly GainSums[]): number {
  const left = new Map<string, number>();
  for (const entry of a) left.set(entry.join(), (left.get(entry.join()) ?? 0) + 1);
  let shared = 0;
  for (const entry of b) {
    const times = left.get(entry.join()) ?? 0;
    if (times === 0) continue;
    left.set(entry.join(), times - 1);
    shared++;
  }
  return shared;
}
