import type { StudyDefinition } from '../contribution/study-definition';
import type { ImportedTable } from '../growth';
import type { CurveOfParts, GainSums, MeasureStatistics, RetentionSums } from './centre-statistics';
import { sumOf, type FaultList } from './statistics-fault';

/** Two values of a record differ by at most this, in the measure's unit. */
const MOST_CHANGE = 2_000;
/**
 * What expected growth adds at most, between two ages and in a year: where it comes with the program far more than any
 * measure grows, and where it is learnt from a centre's own children what a curve through a few wild values may reach.
 */
const MOST_GROWTH = { common: 1_000, own: 1e6, 'not-needed': 0, none: 0 } as const;
/** Gains of one patient: as many as a record may hold visits. */
const MOST_GAINS = 200;
/** Sums are rounded: products may pass what Cauchy and Schwarz allow by this share, and by this much of a unit squared. */
const SHARE_OF_ROUNDING = 1e-6;
const ROUNDING = 1e-9;

/** How large a gain, in the measure's unit, and a growth velocity, unit a year, can be under a definition. */
interface GainLimits {
  readonly gain: number;
  readonly velocity: number;
}

function gainLimits({ reference }: MeasureStatistics, definition: StudyDefinition): GainLimits {
  const ofTable = definition.reference.kind === 'growth-table' ? tableReach(definition.reference.table) : 0;
  const growth = Math.max(MOST_GROWTH[reference.kind], reference.kind === 'common' ? ofTable : 0);
  return { gain: MOST_CHANGE + growth, velocity: growth };
}

/** Stages of maturity follow each other by more than this many years. */
const LEAST_STAGE = 0.1;

/** What a table's sizes differ by at most, over a year or the least distance of two rows where that is shorter. */
function tableReach({ rows, filmFactor }: ImportedTable): number {
  const means = rows.map(({ mean }) => mean);
  const ages = [...new Set(rows.flatMap(({ ageYears }) => ageYears ?? []))].sort((a, b) => a - b);
  const least =
    ages.length === 0
      ? LEAST_STAGE
      : ages.slice(1).reduce((gap, age, i) => Math.min(gap, age - (ages[i] ?? age)), 1);
  return (filmFactor * (Math.max(...means) - Math.min(...means))) / least;
}

/** Sums of the gains in a year's window: those that so many patients can have. */
export function impossibleRetention(
  own: MeasureStatistics,
  treated: number,
  definition: StudyDefinition,
  faults: FaultList,
): void {
  const { retention, separation } = own;
  const limits = gainLimits(own, definition);
  faults.unless(
    isPartInOrder(
      retention.map(({ year }) => year),
      [...definition.years].sort((a, b) => a - b),
    ),
    '',
    'years of the study definition, rising, each at most once',
  );
  retention.forEach((sums, i) => {
    const of = faults.within(String(i));
    of.unless(
      sums.patients >= 1 && sums.patients <= Math.min(treated, separation.patients.length),
      'patients',
      'from 1 up to the treated patients with gains',
    );
    of.unless(
      Math.abs(sums.end) <= sums.patients * limits.gain && Math.abs(sums.now) <= sums.patients * limits.gain,
      'end',
      'sums of gains that so many patients can have; so for now',
    );
    of.unless(isScatter(sums, limits), 'scatter', 'sums of squares and products that such gains can have');
    of.unless(
      isCovariance(sums.curve.end, sums.curve.both, sums.curve.now),
      'curve',
      'a covariance: a product not larger than both variances allow',
    );
  });
}

/** Whether a list is another one with some left out. */
function isPartInOrder(part: readonly number[], whole: readonly number[]): boolean {
  let at = 0;
  for (const value of whole) if (part[at] === value) at++;
  return at === part.length;
}

/** One patient does not scatter, and squares around a mean are no more than those around zero. */
function isScatter({ patients, scatter }: RetentionSums, { gain }: GainLimits): boolean {
  const { end, both, now } = scatter;
  const most = (patients - 1) * gain * gain * (1 + SHARE_OF_ROUNDING);
  return end <= most && now <= most && isCovariance(end, both, now);
}

/** Whether [[a, c], [c, b]] can be a covariance, to rounding. Source: Cauchy and Schwarz's inequality. */
function isCovariance(a: number, c: number, b: number): boolean {
  return Math.abs(c) <= Math.sqrt(a * b) * (1 + SHARE_OF_ROUNDING) + ROUNDING;
}

/** Patients' triangles: those that gains of so many patients can give, each seen at most as often as a record may hold. */
export function impossibleSeparation(
  own: MeasureStatistics,
  treated: number,
  definition: StudyDefinition,
  faults: FaultList,
): void {
  const { separation, losses, retention, flow } = own;
  const { patients, endVelocity, endPatients, curve } = separation;
  const limits = gainLimits(own, definition);
  const followed = Math.max(
    sumOf(losses, (row) => row.patients),
    ...retention.map((row) => row.patients),
    ...flow.map(({ measured }) => measured),
  );
  faults.unless(
    patients.length >= followed && patients.length <= treated,
    'patients',
    'one entry for each patient with gains: at least as many as are followed, at most as many as were treated',
  );
  const wrong = patients.findIndex((sums) => !isTriangle(sums, limits));
  faults.unless(
    wrong === -1,
    `patients.${wrong}`,
    `a triangle that gains can give: up to ${MOST_GAINS} of them, the root of their number first, no more rows than gains, no entry larger than gains and velocities can be`,
  );
  faults.unless(endPatients === patients.length, 'endPatients', 'as many as there are entries of patients');
  faults.unless(
    Math.abs(endVelocity) <= endPatients * limits.velocity,
    'endVelocity',
    'a sum of growth velocities that so many patients can have',
  );
  faults.unless(curve === null || isCurve(curve), 'curve', 'a covariance of three quantities, or null');
}

/**
 * Whether a triangle R can be that of `count` rows [1, v, A]. Its first column has the length of a column of ones; each
 * other column is as long as the column it came from; and n rows span no more than n directions. Each such triangle is
 * that of some gains.
 */
function isTriangle([count, ones, b, c, d, e, f]: GainSums, { gain, velocity }: GainLimits): boolean {
  const root = Math.sqrt(count);
  const rows = [true, d !== 0 || e !== 0, f !== 0].filter(Boolean).length;
  const reach = root * (1 + SHARE_OF_ROUNDING);
  return (
    count <= MOST_GAINS &&
    Math.abs(ones - root) <= SHARE_OF_ROUNDING * root &&
    rows <= count &&
    Math.hypot(b, d) <= velocity * reach &&
    Math.hypot(c, e, f) <= gain * reach
  );
}

/** Whether the covariance of T, S and the mean velocity is positive semidefinite, to rounding: every minor is at least 0. */
function isCurve(curve: CurveOfParts): boolean {
  const { lasting: a, passing: b, velocity: c, both: ab, lastingVelocity: ac, passingVelocity: bc } = curve;
  const determinant = a * (b * c - bc * bc) - ab * (ab * c - bc * ac) + ac * (ab * bc - b * ac);
  return (
    isCovariance(a, ab, b) &&
    isCovariance(a, ac, c) &&
    isCovariance(b, bc, c) &&
    determinant >= -ROUNDING - SHARE_OF_ROUNDING * a * b * c
  );
}
