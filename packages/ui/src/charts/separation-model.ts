import type { ModelledGain } from '@longhold/core/answers';
import type { MeasureDefinition } from '@longhold/core/measures';
import { formatChange, formatLimits, formatNoun } from '../format';
import { paddedRange, type ChartModel, sinceEndAxis } from './chart-model';

const LASTING_DASH = [7, 4];

/** The mean gain over time as a model has it: what lasts, and on top of it what has not faded yet, where the data fix both. */
export function separationModel(
  course: readonly ModelledGain[],
  measure: MeasureDefinition,
  passingName: string,
): ChartModel {
  const x = course.map(({ years }) => years);
  const write = (gain: number): string => formatChange(gain, measure.unit);
  const last = x[x.length - 1] ?? 1;
  const split = course.flatMap(({ years, lasting, total }) =>
    lasting === null ? [] : [{ years, lasting, total }],
  );
  const isSplit = split.length > 0;
  const splitText = (lasting: number | null, passing: number | null): string =>
    lasting === null || passing === null
      ? ''
      : `, of it lasting ${write(lasting)}, ${passingName} ${write(passing)}`;
  const partsKey = [
    { kind: 'line', tone: 'compare', dash: LASTING_DASH, label: 'Lasting part' },
    { kind: 'band', tone: 'phase', label: `Between them: ${passingName}` },
  ] as const;
  return {
    x: sinceEndAxis(last),
    y: {
      label: `Mean gain in ${measure.code}`,
      range: paddedRange([0, ...course.flatMap(({ limits }) => [limits.lower, limits.upper])], 0.06),
      write: (value) => formatChange(value, measure.unit),
    },
    layers: [
      {
        kind: 'band',
        x,
        lower: course.map(({ limits }) => limits.lower),
        upper: course.map(({ limits }) => limits.upper),
        tone: 'answer-band',
      },
      {
        kind: 'band',
        x: split.map(({ years }) => years),
        lower: split.map(({ lasting }) => lasting),
        upper: split.map(({ total }) => total),
        tone: 'phase',
      },
      { kind: 'rule', at: 0, tone: 'quiet' },
      {
        kind: 'line',
        x: split.map(({ years }) => years),
        y: split.map(({ lasting }) => lasting),
        tone: 'compare',
        dash: LASTING_DASH,
        width: 2,
      },
      { kind: 'line', x, y: course.map(({ total }) => total), tone: 'answer', width: 2.5 },
    ],
    under: {
      label: 'Patients measured then or later',
      at: new Map(
        course
          .filter(({ years }) => Number.isInteger(years))
          .map(({ years, followed }) => [years, String(followed)]),
      ),
    },
    points: course.map(({ years, lasting, passing, total, limits, followed }) => ({
      x: years,
      text: `${years} years: mean gain ${write(total)} (${formatLimits(limits, write)})${splitText(lasting, passing)}; ${formatNoun(followed, 'patient')} measured then or later.`,
    })),
    key: [
      { kind: 'line', tone: 'answer', label: isSplit ? 'Mean gain, both parts together' : 'Mean gain' },
      ...(isSplit ? partsKey : []),
      { kind: 'band', tone: 'answer-band', label: 'Interval of the mean gain' },
    ],
  };
}
