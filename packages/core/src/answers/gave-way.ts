import { splitChinPosition, splitMolarRelation, splitOverjet, type CorrectionParts } from '../measures';
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
import type { GaveWayAnswer, PartMean, SplitAnswer, SplitSpan } from './gave-way-answer';

/** Two records of one child. */
interface RecordPair {
  readonly before: Visit;
  readonly after: Visit;
  readonly fromAge: number;
  readonly toAge: number;
}

/** The parts of one change by name, the whole first; null where a point is missing or impossible. */
type Splitter = (before: Visit, after: Visit) => readonly number[] | null;

interface Split {
  readonly names: readonly string[];
  readonly splitter: Splitter;
  /** Places of the skeletal parts; empty where no share is given. */
  readonly skeletal: readonly number[];
}

const JAWS_AND_TEETH = [
  'Upper jaw back',
  'Lower jaw forward',
  'Upper teeth back in their jaw',
  'Lower teeth forward in their jaw',
];

const SPLITS: Readonly<Record<'overjet' | 'molar' | 'chin' | 'turn', Split>> = {
  overjet: {
    names: ['Overjet corrected', ...JAWS_AND_TEETH],
    splitter: correction(splitOverjet, ['ss', 'pg', 'is', 'ii']),
    skeletal: [1, 2],
  },
  molar: {
    names: ['Molar relation corrected', ...JAWS_AND_TEETH],
    splitter: correction(splitMolarRelation, ['ss', 'pg', 'ms', 'mi']),
    skeletal: [1, 2],
  },
  chin: {
    names: ['Chin forward', 'Lower jaw longer', 'Lower jaw turned forward', 'Condyle forward'],
    splitter: (before, after) => chinParts(before, after)?.slice(0, 4) ?? null,
    skeletal: [],
  },
  turn: {
    names: ['Lower jaw turned'],
    splitter: (before, after) => chinParts(before, after)?.slice(4) ?? null,
    skeletal: [],
  },
};

const SPANS: readonly SplitSpan[] = ['treatment', 'since', 'whole'];
/** Untreated children fewer than this give no comparison. */
const FEWEST_UNTREATED = 5;

/**
 * What gave way: changes of overjet, molar relation and chin position of treated patients split into what moved, during
 * treatment, since then, and over both. Means over patients with t intervals. Growth is not taken out; untreated
 * children of the same ages stand beside it.
 * Sources: Pancherz 1982 (sagittal-occlusal split); the split of the chin's position is geometry (methods page).
 */
export function gaveWay(
  treated: readonly PatientHistory[],
  untreated: readonly PatientHistory[],
  level: number,
): GaveWayAnswer {
  const year = yearToTell(treated);
  const answers = (name: keyof typeof SPLITS): SplitAnswer[] =>
    SPANS.map((span) => splitAnswer(SPLITS[name], span, treated, untreated, year, level));
  return {
    year,
    overjet: answers('overjet'),
    molar: answers('molar'),
    chin: answers('chin'),
    turn: answers('turn').map(({ span, whole }) => ({ span, degrees: whole })),
    agreement: overjetAgreement([...treated, ...untreated], level),
  };
}

type OcclusalPoints = Parameters<typeof splitOverjet>[0];

/** A split that needs some of the points only; the others may be missing. */
function correction(
  split: (before: OcclusalPoints, after: OcclusalPoints) => CorrectionParts,
  needed: readonly (keyof OcclusalPoints)[],
): Splitter {
  return (before, after) => {
    const [from, to] = [occlusalPoints(before), occlusalPoints(after)];
    if (needed.some((point) => Number.isNaN(from[point]) || Number.isNaN(to[point]))) return null;
    const { whole, upperJaw, lowerJaw, upperTeeth, lowerTeeth } = split(from, to);
    return [whole, upperJaw, lowerJaw, upperTeeth, lowerTeeth];
  };
}

/** What is read for the splits: distances of points along the occlusal line (co: the condyle), and the lower jaw's length. */
export type GaveWayPoint = keyof OcclusalPoints | 'co' | 'length';

/** The readings of a visit, mm at natural size; null where one was not taken. */
export function pointsOf(visit: Visit): Record<GaveWayPoint, number | null> {
  const read = (code: string): number | null => visitValue(visit, code)?.value ?? null;
  return {
    ss: read('ss-OLp'),
    pg: read('pg-OLp'),
    is: read('is-OLp'),
    ii: read('ii-OLp'),
    ms: read('ms-OLp'),
    mi: read('mi-OLp'),
    co: read('co-OLp'),
    length: read('Co-Gn'),
  };
}

/** The points of a visit along the occlusal line; NaN where one was not read. */
function occlusalPoints(visit: Visit): OcclusalPoints {
  const { ss, pg, is, ii, ms, mi } = pointsOf(visit);
  return { ss: ss ?? NaN, pg: pg ?? NaN, is: is ?? NaN, ii: ii ?? NaN, ms: ms ?? NaN, mi: mi ?? NaN };
}

/** Whole, length, rotation, hinge and the turn in degrees. */
function chinParts(before: Visit, after: Visit): number[] | null {
  const [from, to] = [chinReading(before), chinReading(after)];
  const parts = from === null || to === null ? null : splitChinPosition(from, to);
  return parts === null ? null : [parts.whole, parts.length, parts.rotation, parts.hinge, parts.degrees];
}

function chinReading(visit: Visit): Parameters<typeof splitChinPosition>[0] | null {
  const { pg: chin, co: hinge, length } = pointsOf(visit);
  return chin === null || hinge === null || length === null ? null : { chin, hinge, length };
}

function splitAnswer(
  { names, splitter, skeletal }: Split,
  span: SplitSpan,
  treated: readonly PatientHistory[],
  untreated: readonly PatientHistory[],
  year: number | null,
  level: number,
): SplitAnswer {
  const pairs = treated.flatMap((history) => pairOf(history, span, year) ?? []);
  const split = pairs.flatMap((pair) => {
    const parts = splitter(pair.before, pair.after);
    return parts === null ? [] : [{ pair, parts }];
  });
  const rows = split.map(({ parts }) => parts);
  const years = split.length === 0 ? null : mean(split.map(({ pair }) => pair.toAge - pair.fromAge));
  const grown =
    years === null
      ? null
      : untreatedParts(
          untreated,
          splitter,
          split.map(({ pair }) => pair),
          years,
        );
  const means = names.map((name, place) => partMean(name, rows, place, grown, level));
  return {
    span,
    n: rows.length,
    incomplete: pairs.length - rows.length,
    years,
    whole: means[0] ?? null,
    parts: means.slice(1).flatMap((part) => part ?? []),
    skeletalShare: skeletalShare(rows, skeletal, level),
  };
}

function pairOf(history: PatientHistory, span: SplitSpan, year: number | null): RecordPair | null {
  const start = visitOfKind(history, 'start');
  const end = visitOfKind(history, 'end_of_active');
  const later = year === null ? undefined : visitOfYear(history, year);
  const before = span === 'since' ? end : start;
  const after = span === 'treatment' ? end : later;
  return before === undefined || after === undefined ? null : aged(history, before, after);
}

function aged(history: PatientHistory, before: Visit, after: Visit): RecordPair | null {
  const fromAge = ageAtVisit(history.patient, before);
  const toAge = ageAtVisit(history.patient, after);
  return fromAge === null || toAge === null ? null : { before, after, fromAge, toAge };
}

/** The visit nearest to the anniversary within its window, unless the patient was treated again before it. */
export function visitOfYear(history: PatientHistory, year: number): Visit | undefined {
  const again = history.events.filter(({ event }) => event === 'treated_again').map(({ date }) => date);
  return history.visits
    .flatMap((visit) => {
      const years = yearsSinceActiveEnd(history, visit);
      const { kind, date } = visit;
      const usable =
        kind === 'follow_up' &&
        visit.measurements.length > 0 &&
        !(date !== null && again.some((day) => day <= date));
      return usable && years !== null && inWindow(years, year)
        ? [{ visit, away: Math.abs(years - year) }]
        : [];
    })
    .sort((a, b) => a.away - b.away)[0]?.visit;
}

/** Year 5 where ten have all points at the end of treatment and then, else the latest with ten, else that with most. */
function yearToTell(treated: readonly PatientHistory[]): number | null {
  const { splitter } = SPLITS.overjet;
  const years = [5, 4, 3, 2, 1].map((year) => ({
    year,
    n: treated.filter((history) => {
      const pair = pairOf(history, 'since', year);
      return pair !== null && splitter(pair.before, pair.after) !== null;
    }).length,
  }));
  const best = years.find(({ n }) => n >= 10) ?? [...years].sort((a, b) => b.n - a.n)[0];
  return best === undefined || best.n === 0 ? null : best.year;
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
  return {
    name,
    mean: mean(values),
    limits: meanLimits(values, level),
    untreated:
      untreated === null
        ? null
        : { mean: mean(untreated.map((row) => row[place] ?? NaN)), n: untreated.length },
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
  untreated: readonly PatientHistory[],
  splitter: Splitter,
  pairs: readonly RecordPair[],
  years: number,
): number[][] | null {
  const rising = (values: number[]): number[] => values.sort((a, b) => a - b);
  const youngest = sortedQuantile(rising(pairs.map(({ fromAge }) => fromAge)), 0.1);
  const oldest = sortedQuantile(rising(pairs.map(({ toAge }) => toAge)), 0.9);
  const rows = untreated.flatMap((history) => {
    const within = history.visits
      .flatMap((visit) => {
        const age = ageAtVisit(history.patient, visit);
        return age !== null && age >= youngest && age <= oldest && splitter(visit, visit) !== null
          ? [{ visit, age }]
          : [];
      })
      .sort((a, b) => a.age - b.age);
    const [first] = within;
    const last = within[within.length - 1];
    if (first === undefined || last === undefined || last.age - first.age < 1) return [];
    const parts = splitter(first.visit, last.visit);
    return parts === null ? [] : [parts.map((part) => (part / (last.age - first.age)) * years)];
  });
  return rows.length < FEWEST_UNTREATED ? null : rows;
}

function overjetAgreement(histories: readonly PatientHistory[], level: number): GaveWayAnswer['agreement'] {
  const differences = histories.flatMap((history) => {
    const own = history.visits.flatMap((visit) => {
      const [recorded, upper, lower] = ['overjet', 'is-OLp', 'ii-OLp'].map(
        (code) => visitValue(visit, code)?.value,
      );
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
