import {
  VERDICT_WORDS,
  type ExpectedCourse,
  type PatientOutcome,
  type VisitOutcome,
} from '@longhold/core/answers';
import type { MeasureDefinition } from '@longhold/core/measures';
import { formatNumber, formatQuantity, unitWord } from '../format';
import { VISIT_WORDS } from '../labels';
import { paddedRange, type ChartModel, type KeyEntry, type Layer } from './chart-model';
import { VERDICT_SIGNS } from './shapes';

/** One patient's measured values over age against the expected course. */
export function courseModel(
  outcome: PatientOutcome,
  course: ExpectedCourse | null,
  measure: MeasureDefinition,
): ChartModel {
  const visits = [...outcome.visits].sort((a, b) => a.age - b.age);
  const ages = [...visits.map((visit) => visit.age), ...(course?.age ?? [])];
  const values = [...visits.map((visit) => visit.value), ...(course?.lower ?? []), ...(course?.upper ?? [])];
  return {
    x: {
      label: 'Age in years',
      range: paddedRange(ages, 0.05),
      write: (value) => formatNumber(value, Number.isInteger(value) ? 0 : 1),
    },
    y: {
      label: `${measure.code} in ${unitWord(measure.unit)}`,
      range: paddedRange(values, 0.08),
      write: (value) => formatNumber(value, Number.isInteger(value) ? 0 : 1),
    },
    layers: [...treatmentSpan(visits), ...expectedLayers(course), ...measuredLayers(visits)],
    under: null,
    points: visits.map((visit) => ({ x: visit.age, text: describeVisit(visit, measure) })),
    key: courseKey(visits, course),
  };
}

/** One visit in words, for the reading cursor. */
export function describeVisit(visit: VisitOutcome, measure: MeasureDefinition): string {
  const expected =
    visit.expected === null
      ? ''
      : `, expected without treatment ${formatQuantity(visit.expected.value, measure.unit)}`;
  const verdict = visit.status === null ? '' : ` ${VERDICT_WORDS[visit.status.verdict]}.`;
  const head = `${VISIT_WORDS[visit.kind]} at age ${formatNumber(visit.age)}`;
  return `${head}: ${formatQuantity(visit.value, measure.unit)}${expected}.${verdict}`;
}

function treatmentSpan(visits: readonly VisitOutcome[]): Layer[] {
  const start = visits.find((visit) => visit.kind === 'start');
  const end = visits.find((visit) => visit.kind === 'end_of_active');
  if (start === undefined || end === undefined) return [];
  return [{ kind: 'span', from: start.age, to: end.age, tone: 'phase', label: 'Active treatment' }];
}

function expectedLayers(course: ExpectedCourse | null): Layer[] {
  if (course === null) return [];
  return [
    { kind: 'band', x: course.age, lower: course.lower, upper: course.upper, tone: 'band' },
    { kind: 'line', x: course.age, y: course.expected, tone: 'expected', dash: [7, 4] },
  ];
}

function measuredLayers(visits: readonly VisitOutcome[]): Layer[] {
  return [
    {
      kind: 'line',
      x: visits.map((visit) => visit.age),
      y: visits.map((visit) => visit.value),
      tone: 'ink',
      width: 1.5,
    },
    ...visits.map((visit): Layer => {
      const sign = visit.status === null ? BASELINE_SIGN : VERDICT_SIGNS[visit.status.verdict];
      return { kind: 'mark', x: visit.age, y: visit.value, ...sign };
    }),
  ];
}

/* Unlike every verdict's sign: start and end of active treatment are judged by nothing. */
const BASELINE_SIGN = { shape: 'block', tone: 'ink' } as const;

function courseKey(visits: readonly VisitOutcome[], course: ExpectedCourse | null): KeyEntry[] {
  const verdicts = [
    ...new Set(visits.flatMap((visit) => (visit.status === null ? [] : [visit.status.verdict]))),
  ];
  return [
    { kind: 'mark', ...BASELINE_SIGN, label: 'Start and end of active treatment' },
    ...verdicts.map((verdict): KeyEntry => ({
      kind: 'mark',
      ...VERDICT_SIGNS[verdict],
      label: VERDICT_WORDS[verdict],
    })),
    ...(course === null
      ? []
      : ([
          { kind: 'line', tone: 'expected', dash: [7, 4], label: 'Expected without treatment' },
          { kind: 'band', tone: 'band', label: 'Reach of measurement error and own growth' },
        ] as const)),
  ];
}
