import { isRefusal, mean, sampleVariance, sortedQuantile, twoSidedStudent } from '../numeric';
import { pairedRatio } from '../ratio';
import {
  ageAtVisit,
  visitOfKind,
  visitValue,
  yearsSinceActiveEnd,
  type PatientHistory,
  type Visit,
} from '../records';
import { inWindow } from './flow';
import type { GaveWayAnswer, PartMean, SplitAnswer, SplitLeftOut, SplitSpan } from './gave-way-answer';
import { pointReader, SPLITS, type FilmPoints, type Split } from './gave-way-splits';
import { welchDifference } from './welch-difference';

/** The points of one record and the child's age at it, years. */
export interface AgedPoints {
  readonly points: FilmPoints;
  readonly age: number;
}

/** Two records of one child. */
interface RecordPair {
  readonly code: string;
  readonly before: AgedPoints;
  readonly after: AgedPoints;
}

/** One treated patient's records; by year the follow-up visit nearest to each anniversary within its window. */
export interface TreatedRecords {
  readonly code: string;
  readonly start: AgedPoints | null;
  readonly end: AgedPoints | null;
  readonly byYear: ReadonlyMap<number, AgedPoints>;
}

const SPANS: readonly SplitSpan[] = ['treatment', 'since', 'whole'];
/** Years of which the latest with enough patients is told. */
const YEARS = [5, 4, 3, 2, 1];
/** Untreated children fewer than this give no comparison. */
const FEWEST_UNTREATED = 5;

/**
 * What gave way: changes of overjet, molar relation and chin position of treated patients split into what moved, during
 * treatment, since then, and over both. Means over patients with t intervals. Growth is not taken out; untreated
 * children of the same ages stand beside it, with Welch's interval of the difference.
 */
export function gaveWay(
  treated: readonly PatientHistory[],
  untreated: readonly PatientHistory[],
  level: number,
): GaveWayAnswer {
  const read = pointReader();
  const records = treated.map((history) => recordsOf(history, read));
  const children = untreated.map((history) => agedVisits(history, history.visits, read));
  const year = yearToTell(records);
  const pairs = new Map(SPANS.map((span) => [span, records.flatMap((one) => pairOf(one, span, year) ?? [])]));
  const answers = (split: Split): SplitAnswer[] =>
    SPANS.map((span) => splitAnswer(split, span, pairs.get(span) ?? [], treated.length, children, level));
  return {
    year,
    overjet: answers(SPLITS.overjet),
    molar: answers(SPLITS.molar),
    chin: answers(SPLITS.chin),
    turn: answers(SPLITS.turn).map(({ span, whole }) => ({ span, degrees: whole })),
    agreement: overjetAgreement([...treated, ...untreated], read, level),
  };
}

type ReadPoints = (visit: Visit) => FilmPoints;

/** The records of a treated patient on which the splits stand. */
export function recordsOf(history: PatientHistory, read: ReadPoints): TreatedRecords {
  const [start, end] = (['start', 'end_of_active'] as const).map((kind) => {
    const visit = visitOfKind(history, kind);
    return visit === undefined ? null : (agedVisits(history, [visit], read)[0] ?? null);
  });
  const later = laterVisits(history);
  const byYear = new Map<number, AgedPoints>();
  for (const year of YEARS) {
    const [nearest] = later
      .filter(({ years }) => inWindow(years, year))
      .sort((a, b) => Math.abs(a.years - year) - Math.abs(b.years - year));
    const [aged] = nearest === undefined ? [] : agedVisits(history, [nearest.visit], read);
    if (aged !== undefined) byYear.set(year, aged);
  }
  return { code: history.patient.code, start: start ?? null, end: end ?? null, byYear };
}

function agedVisits(history: PatientHistory, visits: readonly Visit[], read: ReadPoints): AgedPoints[] {
  return visits.flatMap((visit) => {
    const age = ageAtVisit(history.patient, visit);
    return age === null ? [] : [{ points: read(visit), age }];
  });
}

/** Follow-up visits at which something was measured, unless the patient was treated again before. */
function laterVisits(history: PatientHistory): { visit: Visit; years: number }[] {
  const again = history.events.filter(({ event }) => event === 'treated_again').map(({ date }) => date);
  return history.visits.flatMap((visit) => {
    const { kind, date, measurements } = visit;
    if (kind !== 'follow_up' || measurements.length === 0) return [];
    if (date !== null && again.some((day) => day <= date)) return [];
    const years = yearsSinceActiveEnd(history, visit);
    return years === null ? [] : [{ visit, years }];
  });
}

function pairOf(
  { code, start, end, byYear }: TreatedRecords,
  span: SplitSpan,
  year: number | null,
): RecordPair | null {
  const later = year === null ? null : (byYear.get(year) ?? null);
  const before = span === 'since' ? end : start;
  const after = span === 'treatment' ? end : later;
  return before === null || after === null ? null : { code, before, after };
}

/** Year 5 where ten have all points at the end of treatment and then, else the latest with ten, else that with most. */
function yearToTell(records: readonly TreatedRecords[]): number | null {
  const years = YEARS.map((year) => ({
    year,
    n: records.filter((one) => {
      const pair = pairOf(one, 'since', year);
      return pair !== null && Array.isArray(SPLITS.overjet.between(pair.before.points, pair.after.points));
    }).length,
  }));
  const best = years.find(({ n }) => n >= 10) ?? [...years].sort((a, b) => b.n - a.n)[0];
  return best === undefined || best.n === 0 ? null : best.year;
}

function splitAnswer(
  { names, between, skeletal }: Split,
  span: SplitSpan,
  pairs: readonly RecordPair[],
  treated: number,
  untreated: readonly (readonly AgedPoints[])[],
  level: number,
): SplitAnswer {
  const used: RecordPair[] = [];
  const rows: (readonly number[])[] = [];
  const leftOut = new Map<SplitLeftOut, string[]>();
  for (const pair of pairs) {
    const parts = between(pair.before.points, pair.after.points);
    if (typeof parts === 'string') {
      const codes = leftOut.get(parts);
      if (codes === undefined) leftOut.set(parts, [pair.code]);
      else codes.push(pair.code);
      continue;
    }
    used.push(pair);
    rows.push(parts);
  }
  const years = used.length === 0 ? null : mean(used.map(({ before, after }) => after.age - before.age));
  const grown = years === null ? null : untreatedParts(untreated, between, used, years);
  const means = names.map((name, place) => partMean(name, rows, place, grown, level));
  return {
    span,
    n: rows.length,
    leftOut: [...leftOut].map(([reason, codes]) => ({ reason, codes })),
    withoutRecords: treated - pairs.length,
    years,
    whole: means[0] ?? null,
    parts: means.slice(1).flatMap((part) => part ?? []),
    skeletalShare: skeletalShare(rows, skeletal, level),
  };
}

function partMean(
  name: string,
  rows: readonly (readonly number[])[],
  place: number,
  untreated: readonly (readonly number[])[] | null,
  level: number,
): PartMean | null {
  if (rows.length === 0) return null;
  const values = rows.map((row) => row[place] ?? NaN);
  const grown = untreated === null ? null : untreated.map((row) => row[place] ?? NaN);
  return {
    name,
    mean: mean(values),
    limits: meanLimits(values, level),
    untreated: grown === null ? null : { mean: mean(grown), n: grown.length },
    beyondUntreated: grown === null ? null : welchDifference(values, grown, level),
  };
}

function meanLimits(values: readonly number[], level: number): { lower: number; upper: number } | null {
  const n = values.length;
  if (n < 2) return null;
  const centre = mean(values);
  const reach = twoSidedStudent(level, n - 1) * Math.sqrt(sampleVariance(values) / n);
  return { lower: centre - reach, upper: centre + reach };
}

function skeletalShare(
  rows: readonly (readonly number[])[],
  skeletal: readonly number[],
  level: number,
): SplitAnswer['skeletalShare'] {
  if (skeletal.length === 0 || rows.length < 2) return null;
  const ratio = pairedRatio(
    {
      numerator: rows.map((row) => skeletal.reduce((sum, place) => sum + (row[place] ?? NaN), 0)),
      denominator: rows.map((row) => row[0] ?? NaN),
    },
    { level },
  );
  return isRefusal(ratio) ? null : { estimate: ratio.ratio, interval: ratio.fieller };
}

/**
 * What untreated children change in as many years at the same ages: of each child the first and the last visit within
 * the middle four fifths of the ages concerned, at least a year apart, scaled to the span.
 */
function untreatedParts(
  untreated: readonly (readonly AgedPoints[])[],
  between: Split['between'],
  pairs: readonly RecordPair[],
  years: number,
): (readonly number[])[] | null {
  const rising = (values: number[]): number[] => values.sort((a, b) => a - b);
  const youngest = sortedQuantile(rising(pairs.map(({ before }) => before.age)), 0.1);
  const oldest = sortedQuantile(rising(pairs.map(({ after }) => after.age)), 0.9);
  const rows = untreated.flatMap((visits) => {
    const within = visits
      .filter(({ age, points }) => age >= youngest && age <= oldest && Array.isArray(between(points, points)))
      .sort((a, b) => a.age - b.age);
    const [first] = within;
    const last = within[within.length - 1];
    if (first === undefined || last === undefined || last.age - first.age < 1) return [];
    const parts = between(first.points, last.points);
    return typeof parts === 'string' ? [] : [parts.map((part) => (part / (last.age - first.age)) * years)];
  });
  return rows.length < FEWEST_UNTREATED ? null : rows;
}

function overjetAgreement(
  histories: readonly PatientHistory[],
  read: ReadPoints,
  level: number,
): GaveWayAnswer['agreement'] {
  const differences = histories.flatMap((history) => {
    const own = history.visits.flatMap((visit) => {
      const recorded = visitValue(visit, 'overjet')?.value;
      const { values } = read(visit);
      const [upper, lower] = [values.get('is-OLp'), values.get('ii-OLp')];
      return recorded === undefined || upper === undefined || lower === undefined
        ? []
        : [recorded - (upper - lower)];
    });
    // One value a child, so that the children are independent.
    return own.length === 0 ? [] : [mean(own)];
  });
  const limits = meanLimits(differences, level);
  return limits === null ? null : { n: differences.length, mean: mean(differences), limits };
}
