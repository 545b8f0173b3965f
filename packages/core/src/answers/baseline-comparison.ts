import { mean, normalQuantile, sampleVariance } from '../numeric';
import { maturityGroupOf } from '../records';
import type { Limits } from '../retention';
import type { BaselineRow } from './absence-answer';
import type { PatientOutcome } from './answer';
import { welchDifference } from './welch-difference';

/** Fewer than this in either group say nothing about a difference. */
const FEWEST = 5;

/**
 * Seen and unseen patients side by side in what is known of both: age and gain at the end of active treatment, sex,
 * maturity, expansion, protocol. Patients with a characteristic that is not recorded are left out of its row. No row
 * can prove that the unseen are like the seen in what was not measured.
 */
export function compareBaseline(
  seen: readonly PatientOutcome[],
  unseen: readonly PatientOutcome[],
  ages: ReadonlyMap<string, number>,
  level: number,
): BaselineRow[] {
  if (seen.length < FEWEST || unseen.length < FEWEST) return [];
  const means = (name: string, unit: string, read: (one: PatientOutcome) => number | null) =>
    meanRow(name, unit, known(seen, read), known(unseen, read), level);
  const shares = (name: string, read: (one: PatientOutcome) => boolean | null) =>
    shareRow(name, known(seen, read), known(unseen, read), level);
  const protocols = [...new Set([...seen, ...unseen].flatMap(({ protocol }) => protocol ?? []))].sort();
  return [
    means('Age at the end of treatment', 'years', ({ code }) => ages.get(code) ?? null),
    means('Gain of treatment', '', ({ gain }) => gain?.estimate ?? null),
    shares('Girls', ({ sex }) => sex === 'female'),
    shares('Before the peak of growth at the start', ({ maturityStart }) =>
      maturityStart === null ? null : maturityGroupOf(maturityStart) === 'before-peak',
    ),
    shares('Upper jaw widened', ({ expansion }) => expansion),
    ...protocols.map((code) => shares(`Protocol ${code}`, ({ protocol }) => protocol === code)),
  ].flatMap((row) => row ?? []);
}

function known<T>(patients: readonly PatientOutcome[], read: (one: PatientOutcome) => T | null): T[] {
  return patients.flatMap((one) => {
    const value = read(one);
    return value === null ? [] : [value];
  });
}

/** Difference of means with Welch's interval. Null where a group has fewer than two values. */
function meanRow(
  name: string,
  unit: string,
  seen: readonly number[],
  unseen: readonly number[],
  level: number,
): BaselineRow | null {
  const difference = welchDifference(seen, unseen, level);
  if (difference === null) return null;
  const spread = Math.sqrt((sampleVariance(seen) + sampleVariance(unseen)) / 2);
  return {
    name,
    kind: 'mean',
    unit,
    seen: { n: seen.length, value: mean(seen) },
    unseen: { n: unseen.length, value: mean(unseen) },
    difference: difference.estimate,
    limits: difference.limits,
    standardised: spread > 0 ? difference.estimate / spread : null,
  };
}

/** Difference of shares with Newcombe's interval from Wilson's limits (Newcombe 1998, method 10). */
function shareRow(
  name: string,
  seen: readonly boolean[],
  unseen: readonly boolean[],
  level: number,
): BaselineRow | null {
  if (seen.length === 0 || unseen.length === 0) return null;
  const [a, b] = [wilson(seen, level), wilson(unseen, level)];
  const difference = a.share - b.share;
  const spread = Math.sqrt((a.share * (1 - a.share) + b.share * (1 - b.share)) / 2);
  return {
    name,
    kind: 'share',
    unit: '',
    seen: { n: seen.length, value: a.share },
    unseen: { n: unseen.length, value: b.share },
    difference,
    limits: {
      lower: difference - Math.hypot(a.share - a.limits.lower, b.limits.upper - b.share),
      upper: difference + Math.hypot(a.limits.upper - a.share, b.share - b.limits.lower),
    },
    standardised: spread > 0 ? difference / spread : null,
  };
}

function wilson(values: readonly boolean[], level: number): { share: number; limits: Limits } {
  const n = values.length;
  const share = values.filter(Boolean).length / n;
  const z = normalQuantile((1 + level) / 2);
  const centre = (share + z ** 2 / (2 * n)) / (1 + z ** 2 / n);
  const reach = (z * Math.sqrt((share * (1 - share)) / n + z ** 2 / (4 * n ** 2))) / (1 + z ** 2 / n);
  return { share, limits: { lower: centre - reach, upper: centre + reach } };
}
