import type {
  BoundedSurvival,
  ComparedResults,
  CompetingAnswer,
  FlowYear,
  GroupSurvival,
  ModelledGain,
  PlanningAnswer,
  RetainedYear,
  SensitivityAnswer,
  SplitAnswer,
  SurvivalAnswer,
} from '@longhold/core/answers';
import type { DataRow } from '@longhold/ui';

/*
 * What a figure draws, as rows for another program: unrounded, shares from 0 to 1, times in years since the end of
 * active treatment, gains in the unit of the measure. A set with one end or none has an empty cell in place of an end.
 */

/** The parts of a set of ratios that a row can hold. */
type Ends = { readonly kind: string; readonly lower?: number; readonly upper?: number };

function endsOf(set: Ends | null): { kind: string | null; lower: number | null; upper: number | null } {
  return { kind: set?.kind ?? null, lower: set?.lower ?? null, upper: set?.upper ?? null };
}

export function retainedData(years: readonly RetainedYear[]): DataRow[] {
  return years.map(({ year, n, meanGainAtEnd, meanGainNow, share, bootstrap }) => {
    const { kind, lower, upper } = endsOf(share?.interval ?? null);
    return {
      year,
      patients: n,
      mean_gain_at_end: meanGainAtEnd,
      mean_gain_in_year: meanGainNow,
      retained_share: share?.estimate ?? null,
      interval_kind: kind,
      interval_lower: lower,
      interval_upper: upper,
      bootstrap_lower: bootstrap?.lower ?? null,
      bootstrap_upper: bootstrap?.upper ?? null,
    };
  });
}

/** Both curves at every time at which they are drawn. */
export function survivalData({ turnbull, kaplanMeier }: SurvivalAnswer): DataRow[] {
  const rows = (curve: string, points: SurvivalAnswer['turnbull']['points']): DataRow[] =>
    points.map(({ time, survival, lower, upper }) => ({ curve, years: time, survival, lower, upper }));
  return [...rows('interval-censored', turnbull.points), ...rows('conventional', kaplanMeier.points)];
}

export function groupData(groups: readonly GroupSurvival[]): DataRow[] {
  return groups.flatMap(({ label, patients, losses, points }) =>
    points.map(({ time, survival, lower, upper }) => ({
      group: label,
      patients,
      losses,
      years: time,
      survival,
      lower,
      upper,
    })),
  );
}

export function incidenceData({ points }: CompetingAnswer): DataRow[] {
  return points.map(({ time, lost, treatedAgain }) => ({ years: time, lost, treated_again: treatedAgain }));
}

export function boundsData(bounds: readonly BoundedSurvival[]): DataRow[] {
  return bounds.map(({ years, worst, estimate, best }) => ({ years, worst, estimate, best }));
}

export function flowData(flow: readonly FlowYear[]): DataRow[] {
  return flow.map(({ year, eligible, seen, measured, seenNotMeasured, seenFactorUnknown, notSeen }) => ({
    year,
    year_has_passed: eligible,
    seen,
    measured,
    seen_not_measured: seenNotMeasured,
    seen_film_factor_unknown: seenFactorUnknown,
    ...Object.fromEntries(
      Object.entries(notSeen).map(([reason, count]) => [`not_seen_${reason.replaceAll('-', '_')}`, count]),
    ),
  }));
}

/** The modelled course. `passing` is what is brought forward, or fading, by the model that is read. */
export function courseData(course: readonly ModelledGain[]): DataRow[] {
  return course.map(({ years, total, limits, lasting, passing, followed }) => ({
    years,
    mean_gain: total,
    lower: limits.lower,
    upper: limits.upper,
    lasting,
    passing,
    measured_then_or_later: followed,
  }));
}

export function partsData(splits: readonly SplitAnswer[]): DataRow[] {
  return splits.flatMap(({ span, n, years, whole, parts }) =>
    (whole === null ? [] : [whole, ...parts]).map(({ name, mean, limits, untreated, beyondUntreated }) => ({
      span,
      part: name,
      patients: n,
      mean_years: years,
      mean_mm: mean,
      lower_mm: limits?.lower ?? null,
      upper_mm: limits?.upper ?? null,
      untreated_mean_mm: untreated?.mean ?? null,
      untreated_children: untreated?.n ?? null,
      beyond_untreated_mm: beyondUntreated?.estimate ?? null,
      beyond_untreated_lower_mm: beyondUntreated?.limits.lower ?? null,
      beyond_untreated_upper_mm: beyondUntreated?.limits.upper ?? null,
    })),
  );
}

export function sensitivityData({ rows, retainedYear, survivalYear }: SensitivityAnswer): DataRow[] {
  return rows.map((row) => ({
    changed: row.aspect,
    choice: row.choice,
    as_asked: row.inForce ? 'yes' : 'no',
    ...comparedCells(row, retainedYear, survivalYear),
  }));
}

/** Every growth reference; one that cannot be used has the reason and empty cells. */
export function referencesData({ references, retainedYear, survivalYear }: SensitivityAnswer): DataRow[] {
  return references.rows.map(({ label, inForce, results, why }) => ({
    growth_reference: label,
    as_asked: inForce ? 'yes' : 'no',
    why_not: why,
    mean_gain: results?.gain?.mean ?? null,
    mean_gain_lower: results?.gain?.limits.lower ?? null,
    mean_gain_upper: results?.gain?.limits.upper ?? null,
    followed: results?.followed ?? null,
    drop_out: results === null ? null : results.dropsOut.flatMap(({ codes }) => codes).length,
    ...comparedCells(results, retainedYear, survivalYear),
  }));
}

function comparedCells(
  results: ComparedResults | null,
  retainedYear: number | null,
  survivalYear: number | null,
): DataRow {
  const { retained, survival, lasting, share } = results ?? NO_RESULTS;
  const kept = endsOf(retained?.interval ?? null);
  const part = endsOf(share?.interval ?? null);
  return {
    patients: results?.patients ?? null,
    retained_year: retainedYear,
    retained_patients: retained?.n ?? null,
    retained_share: retained?.estimate ?? null,
    retained_kind: kept.kind,
    retained_lower: kept.lower,
    retained_upper: kept.upper,
    survival_year: survivalYear,
    survival: survival?.estimate ?? null,
    survival_lower: survival?.limits?.lower ?? null,
    survival_upper: survival?.limits?.upper ?? null,
    ...Object.fromEntries(
      READ_YEARS.map((year) => [
        `survival_at_${year}`,
        results?.atYears.find((one) => one.year === year)?.estimate ?? null,
      ]),
    ),
    lasting_gain: lasting?.estimate ?? null,
    lasting_lower: lasting?.limits?.lower ?? null,
    lasting_upper: lasting?.limits?.upper ?? null,
    lasting_share: share?.estimate ?? null,
    lasting_share_kind: part.kind,
    lasting_share_lower: part.lower,
    lasting_share_upper: part.upper,
    reading: results?.diagnosis ?? null,
  };
}

const READ_YEARS = [1, 2, 3, 5];
const NO_RESULTS: Pick<ComparedResults, 'retained' | 'survival' | 'lasting' | 'share'> = {
  retained: null,
  survival: null,
  lasting: null,
  share: null,
};

export function planningData({ numbers, rows }: PlanningAnswer): DataRow[] {
  return rows.flatMap(({ years, lasting, share, patients }) =>
    numbers.map((number, i) => ({
      years,
      patients: number,
      half_width_lasting_gain: lasting[i] ?? null,
      half_width_lasting_share: share[i] ?? null,
      patients_needed: patients,
    })),
  );
}
