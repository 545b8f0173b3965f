import { groupLabels } from '../answers';
import { MOST_YEARS } from '../answers/flow';
import type { ContributionFlow } from '../contribution/pooled-record';
import type { StudyDefinition } from '../contribution/study-definition';
import type { CentreFlowYear, CentreStatistics, MeasureStatistics } from './centre-statistics';
import { impossibleRetention, impossibleSeparation } from './impossible-sums';
import { FaultList, sumOf, type StatisticsFault } from './statistics-fault';

/** Named at most, so that a refusal can be read. */
const MOST_FAULTS = 10;

/**
 * What in a centre's statistics no records can give under a definition: measures, years and groups that are not the
 * study's, counts and sums that contradict each other, sums larger than gains can be. Empty for all statistics that
 * `centreStatistics` makes under that definition. A centre may still send wrong numbers; it cannot send numbers that
 * stand for more patients than it names, or for gains that nobody can have.
 *
 * @returns at most ten faults, in the order of the statistics
 */
export function impossibleStatistics(
  statistics: CentreStatistics,
  definition: StudyDefinition,
): readonly StatisticsFault[] {
  const faults = new FaultList();
  impossibleContribution(statistics.flow, faults.within('flow'));
  const { measures } = statistics;
  const isInOrder = definition.measures.every((measure, i) => measures[i]?.measure === measure);
  faults.unless(
    isInOrder && measures.length === definition.measures.length,
    'measures',
    "the measures of the study definition, each once, in the definition's order",
  );
  if (faults.found.length === 0)
    measures.forEach((own, i) =>
      impossibleMeasure(own, statistics, definition, faults.within(`measures.${i}`)),
    );
  return faults.found.slice(0, MOST_FAULTS);
}

/** Whoever is withheld makes `treated` unknown; else it is at least the sum of the others. */
function impossibleContribution(flow: ContributionFlow, faults: FaultList): void {
  const { treated, contributed, ...reasons } = flow;
  const parts = Object.values(reasons);
  const known = parts.reduce<number>((sum, part) => sum + (part ?? 0), contributed);
  faults.unless(
    treated === null || (known <= treated && !parts.includes(null)),
    'treated',
    'at least the contributed and those left out together; null where one of these is null',
  );
  faults.unless(
    [treated, contributed, ...parts].every((part) => (part ?? 0) <= MOST_PATIENTS),
    '',
    `numbers of patients, up to ${MOST_PATIENTS} each`,
  );
}

const MOST_PATIENTS = 10_000_000;

function impossibleMeasure(
  own: MeasureStatistics,
  whole: CentreStatistics,
  definition: StudyDefinition,
  faults: FaultList,
): void {
  faults.unless(
    own.methodError === null || own.methodError.measure === own.measure,
    'methodError.measure',
    'the measure that the error is of',
  );
  impossibleReference(own.reference, whole, definition, faults.within('reference'));
  impossibleFlow(own.flow, whole.treated, definition.years, faults.within('flow'));
  impossibleOutcomes(own, whole.treated, definition, faults);
  impossibleRetention(own, whole.treated, definition, faults.within('retention'));
  impossibleSeparation(own, whole.treated, definition, faults.within('separation'));
}

/** A measure that does not grow, or of which no reference tells, needs none; else it is the one of the definition. */
function impossibleReference(
  { kind, children }: MeasureStatistics['reference'],
  { untreated }: CentreStatistics,
  { reference }: StudyDefinition,
  faults: FaultList,
): void {
  const isOwn = reference.kind === 'own-untreated-series';
  const wrongKind = isOwn ? 'common' : 'own';
  faults.unless(kind !== wrongKind, 'kind', 'the reference of the study definition, or none');
  faults.unless(
    kind === 'own' ? children >= 1 && children <= untreated : children === 0,
    'children',
    'not more than the untreated children of the centre, and 0 where growth is not from these',
  );
}

/** Every year of the definition as far as a window has closed for anybody. */
function impossibleFlow(
  flow: readonly CentreFlowYear[],
  treated: number,
  years: readonly number[],
  faults: FaultList,
): void {
  const rising = [...new Set(years)].filter((year) => year <= MOST_YEARS).sort((a, b) => a - b);
  faults.unless(
    flow.length <= rising.length && flow.every(({ year }, i) => year === rising[i]),
    '',
    'the years of the study definition, rising, each once, without a gap',
  );
  flow.forEach(({ eligible, seen, measured, notSeen }, i) => {
    const before = flow[i - 1]?.eligible ?? treated;
    const of = faults.within(String(i));
    of.unless(
      eligible >= 1 && eligible <= before,
      'eligible',
      'from 1 up to the treated patients, and to those of the year before',
    );
    of.unless(measured <= seen, 'measured', 'not more than were seen');
    of.unless(
      seen + sumOf(Object.values(notSeen), (patients) => patients) === eligible,
      'notSeen',
      'together with those seen the eligible patients',
    );
  });
}

/** Everyone treated is in the risk set or left out, and follow-up of everyone in the risk set ended once. */
function impossibleOutcomes(
  { leftOut, losses, endings }: MeasureStatistics,
  treated: number,
  definition: StudyDefinition,
  faults: FaultList,
): void {
  const labels = new Set<string | null>([null, ...groupLabels(definition.groupBy, definition.protocols)]);
  faults.unless(
    losses.every(({ group }) => labels.has(group)),
    'losses',
    "groups as the study definition's grouping writes them, or null",
  );
  faults.unless(
    areDistinct(losses, ({ group, left, right }) => JSON.stringify([group, left, right])),
    'losses',
    'each group and interval once',
  );
  faults.unless(
    areDistinct(endings, ({ day, ending }) => `${ending} ${day}`),
    'endings',
    'each day and ending once',
  );
  faults.unless(
    areDistinct(leftOut, ({ reason }) => reason),
    'leftOut',
    'each reason once',
  );
  const patients = (rows: readonly { readonly patients: number }[]): number =>
    sumOf(rows, (row) => row.patients);
  faults.unless(
    patients(losses) + patients(leftOut) === treated,
    'losses',
    'together with those left out as many patients as were treated',
  );
  faults.unless(
    patients(endings) === patients(losses),
    'endings',
    'as many patients as there are in the losses',
  );
  const found = byDay(losses.flatMap(({ right, ...row }) => (right === null ? [] : { ...row, day: right })));
  const lost = byDay(endings.filter(({ ending }) => ending === 'lost'));
  faults.unless(
    found.size === lost.size && [...found].every(([day, number]) => lost.get(day) === number),
    'endings',
    'on each day as many lost as there are losses that end on it',
  );
  const free = byDay(
    losses.flatMap(({ right, left, ...row }) => (right === null ? { ...row, day: left } : [])),
  );
  const neither = byDay(endings.filter(({ ending }) => ending === 'neither'));
  faults.unless(
    [...neither].every(([day, number]) => number <= (free.get(day) ?? 0)),
    'endings',
    'on each day at most as many with neither as there are losses that were not found by then',
  );
}

function areDistinct<Row>(rows: readonly Row[], key: (row: Row) => string): boolean {
  return new Set(rows.map(key)).size === rows.length;
}

function byDay(rows: readonly { readonly day: number; readonly patients: number }[]): Map<number, number> {
  const days = new Map<number, number>();
  for (const { day, patients } of rows) days.set(day, (days.get(day) ?? 0) + patients);
  return days;
}
