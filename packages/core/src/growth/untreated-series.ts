import { fitLinearMixedModel, type MixedData, type MixedFit } from '../mixed';
import { isRefusal } from '../numeric';
import { agedValues, sexSchema, type ReadingCounts, type Sex, type Study } from '../records';
import { splineBasis, splineForAges, splineSlope, type NaturalSpline } from './natural-spline';

/** Fewer children of a sex than this, each seen at two ages or more, carry no curve for that sex. */
const CHILDREN_NEEDED = 8;

const MOST_DEGREES_OF_FREEDOM = 6;

/** The untreated children of one sex, as far as one measure is concerned. */
export interface ReferenceSeries {
  readonly sex: Sex;
  readonly children: number;
  readonly measurements: number;
  readonly ages: readonly [youngest: number, oldest: number];
}

/** A growth curve by age and sex, fitted to untreated children with each child's own level and rate. */
export interface GrowthCurve {
  readonly kind: 'untreated-series';
  readonly series: readonly ReferenceSeries[];
  readonly spline: NaturalSpline;
  /** The age from which a child's own rate is counted; years. */
  readonly centre: number;
  readonly fit: MixedFit;
  /** The mean of all values, taken off before the fit to keep the arithmetic well scaled. */
  readonly offset: number;
  /**
   * How much of the error of one film read once is left in the series' values on average: the harmonic mean of their
   * films, and the mean of what they leave of a retracing's variance.
   */
  readonly usualValue: Pick<ReadingCounts, 'films' | 'retracingShare'>;
}

interface Child {
  readonly sex: Sex;
  readonly ages: readonly number[];
  readonly values: readonly number[];
  readonly counts: readonly ReadingCounts[];
}

/**
 * Fits the expected size of one measure by age and sex to the untreated children of a study.
 * Model: natural cubic spline in age, separate for each sex, plus a random level and a random yearly rate of
 * each child; REML. The spline's degrees of freedom (1 to 6) are those with the smallest Akaike criterion
 * under full maximum likelihood. Children seen once only still inform the level.
 * Sources: Laird and Ware 1982; Hastie, Tibshirani and Friedman 2009, section 5.2.1.
 *
 * @returns a sentence that says what is missing where no curve can be carried.
 */
export function fitGrowthCurve(study: Study, measureCode: string): GrowthCurve | string {
  const children = untreatedChildren(study, measureCode);
  const sexes = sexSchema.options.filter((sex) => serialCount(children, sex) >= CHILDREN_NEEDED);
  if (sexes.length === 0) {
    return `No sex has ${CHILDREN_NEEDED} untreated children with ${measureCode} at two ages or more.`;
  }
  const used = children.filter((child) => sexes.includes(child.sex));
  const ages = used.flatMap((child) => child.ages).sort((a, b) => a - b);
  const centre = ages.reduce((sum, age) => sum + age, 0) / ages.length;
  const values = used.flatMap((child) => child.values);
  const offset = values.reduce((sum, value) => sum + value, 0) / values.length;

  const chosen = chooseSpline(used, sexes, ages, centre, offset);
  if (chosen === null)
    return `The untreated values of ${measureCode} do not vary enough to carry a growth curve.`;
  const fit = fitLinearMixedModel(mixedData(used, sexes, chosen.spline, centre, offset), chosen.start);
  if (isRefusal(fit)) return `The growth curve of ${measureCode} could not be fitted. ${fit.message}`;
  const series = sexes.map((sex) => describe(used, sex));
  return {
    kind: 'untreated-series',
    series,
    spline: chosen.spline,
    centre,
    fit,
    offset,
    usualValue: usualValue(used.flatMap(({ counts }) => counts)),
  };
}

/** The curve's fixed-effect row for a sex and an age: sex-specific intercept, then sex-specific spline columns. */
export function curveRow(curve: GrowthCurve, sex: Sex, age: number): readonly number[] {
  return keptRow(curve, 'size', sex, age, () => {
    const sexes = curve.series.map((series) => series.sex);
    return sexRow(sexes, curve.spline, sex, age);
  });
}

/** The derivative of `curveRow` by age: what gives the curve's velocity, unit per year, from its coefficients. */
export function curveSlopeRow(curve: GrowthCurve, sex: Sex, age: number): readonly number[] {
  return keptRow(curve, 'slope', sex, age, () => {
    const slope = [0, ...splineSlope(curve.spline, age)];
    return curve.series.flatMap((series) => slope.map((value) => (series.sex === sex ? value : 0)));
  });
}

type RowKind = 'size' | 'slope';

/** One visit's row enters a score of contrasts, so rows are kept as long as their curve is; nothing depends on it but time. */
const KEPT_ROWS = new WeakMap<GrowthCurve, Record<RowKind, Record<Sex, Map<number, number[]>>>>();

function keptRow(
  curve: GrowthCurve,
  kind: RowKind,
  sex: Sex,
  age: number,
  make: () => number[],
): readonly number[] {
  let kept = KEPT_ROWS.get(curve);
  if (kept === undefined) {
    const empty = () => ({ female: new Map<number, number[]>(), male: new Map<number, number[]>() });
    kept = { size: empty(), slope: empty() };
    KEPT_ROWS.set(curve, kept);
  }
  const rows = kept[kind][sex];
  let row = rows.get(age);
  if (row === undefined) {
    row = make();
    rows.set(age, row);
  }
  return row;
}

function sexRow(sexes: readonly Sex[], spline: NaturalSpline, sex: Sex, age: number): number[] {
  const columns = [1, ...splineBasis(spline, age)];
  return sexes.flatMap((candidate) => columns.map((value) => (candidate === sex ? value : 0)));
}

interface ChosenSpline {
  readonly spline: NaturalSpline;
  /** Where the final fit may start to search: near where the fit that chose the spline ended. */
  readonly start: { readonly start?: readonly number[] };
}

function chooseSpline(
  children: readonly Child[],
  sexes: readonly Sex[],
  sortedAges: readonly number[],
  centre: number,
  offset: number,
): ChosenSpline | null {
  const most = Math.min(MOST_DEGREES_OF_FREEDOM, new Set(sortedAges).size - 1);
  let best: (ChosenSpline & { readonly aic: number }) | null = null;
  let start: ChosenSpline['start'] = {};
  for (let degreesOfFreedom = 1; degreesOfFreedom <= most; degreesOfFreedom++) {
    const spline = splineForAges(sortedAges, degreesOfFreedom);
    if (spline.knots.length !== degreesOfFreedom + 1) continue;
    const data = mixedData(children, sexes, spline, centre, offset);
    const fit = fitLinearMixedModel(data, { criterion: 'ML', ...start });
    if (isRefusal(fit)) continue;
    // A fit at the edge of what is possible is a poor place to start from.
    if (!fit.singular) start = { start: fit.relativeFactor };
    if (best === null || fit.aic < best.aic)
      best = { aic: fit.aic, spline, start: fit.singular ? {} : start };
  }
  return best;
}

function mixedData(
  children: readonly Child[],
  sexes: readonly Sex[],
  spline: NaturalSpline,
  centre: number,
  offset: number,
): MixedData {
  const ages = children.flatMap((child) => child.ages);
  const rows = children.flatMap((child) => child.ages.map((age) => sexRow(sexes, spline, child.sex, age)));
  const names = sexes.flatMap((sex) => [
    sex,
    ...spline.knots.slice(1).map((_, i) => `${sex}, curve ${i + 1}`),
  ]);
  return {
    response: children.flatMap((child) => child.values.map((value) => value - offset)),
    fixed: names.map((name, column) => ({ name, values: rows.map((row) => row[column] ?? 0) })),
    random: {
      factor: 'child',
      labels: children.flatMap((child, number) => child.ages.map(() => number)),
      columns: [
        { name: 'level', values: ages.map(() => 1) },
        { name: 'rate', values: ages.map((age) => age - centre) },
      ],
    },
  };
}

function untreatedChildren(study: Study, measureCode: string): Child[] {
  return study
    .filter(({ patient }) => patient.group === 'untreated')
    .map((history) => {
      const values = agedValues(history, measureCode);
      return {
        sex: history.patient.sex,
        ages: values.map(({ age }) => age),
        values: values.map(({ value }) => value),
        counts: values,
      };
    })
    .filter((child) => child.ages.length > 0);
}

function usualValue(counts: readonly ReadingCounts[]): GrowthCurve['usualValue'] {
  const filmShares = counts.reduce((sum, { films }) => sum + 1 / films, 0);
  const retracingShares = counts.reduce((sum, { retracingShare }) => sum + retracingShare, 0);
  return { films: counts.length / filmShares, retracingShare: retracingShares / counts.length };
}

function serialCount(children: readonly Child[], sex: Sex): number {
  return children.filter((child) => child.sex === sex && new Set(child.ages).size >= 2).length;
}

function describe(children: readonly Child[], sex: Sex): ReferenceSeries {
  const own = children.filter((child) => child.sex === sex);
  const ages = own.flatMap((child) => child.ages);
  return {
    sex,
    children: own.length,
    measurements: ages.length,
    ages: [ages.reduce((a, b) => Math.min(a, b)), ages.reduce((a, b) => Math.max(a, b))],
  };
}
