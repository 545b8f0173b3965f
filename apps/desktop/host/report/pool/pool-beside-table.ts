import {
  comparedSurvivalText,
  measureText,
  numberText,
  retainedText,
  shareText,
  testedText,
  type OutcomeAnswer,
} from '@longhold/core/answers';
import { isRefusal } from '@longhold/core/numeric';
import { bestPlace, meanText, ownText, pooledSubject, type ViewedQuantity } from '@longhold/core/pooled';
import { html, table, type Html } from '../html';
import type { PoolOfMeasure } from './pool-of-measure';

/** This clinic in this report, this clinic as the pool has it, and the pool: one row for each kind of result. */
export function besideTable(answer: OutcomeAnswer, pool: PoolOfMeasure): Html {
  const { unit } = answer.measure;
  const ofCentre = pool.ownCentre !== null;
  return html`${table(
      'This clinic beside the pool',
      [
        { heading: 'Result', kind: 'text' },
        { heading: 'This report', kind: 'result' },
        ...(ofCentre ? [{ heading: 'This clinic in the pool', kind: 'result' } as const] : []),
        { heading: 'Mean over centres', kind: 'result' },
      ],
      leading(pool.measure.quantities).map((quantity) => [
        pooledSubject(quantity),
        hereText(quantity, answer),
        ...(ofCentre ? [ownText(quantity, unit)] : []),
        meanText(quantity, unit),
      ]),
    )}
    <p class="about">
      The latest year of which the pool has a mean. In brackets the limits, then the patients. “This report”
      is what stands in the chapters before, by this report’s
      question${
        ofCentre
          ? '; “This clinic in the pool” is the same records as they were sent, by the study group’s'
          : ''
      }.
    </p>`;
}

/** Of each kind the one quantity that is looked at first. */
function leading(quantities: readonly ViewedQuantity[]): ViewedQuantity[] {
  const ofKind = (kind: ViewedQuantity['kind']): ViewedQuantity[] => {
    const own = quantities.filter((one) => one.kind === kind);
    return own.slice(bestPlace(own)).slice(0, 1);
  };
  return (['retained-share', 'survival', 'lasting', 'forward', 'lasting-share'] as const).flatMap(ofKind);
}

/** The same quantity as this report has it from the clinic's own records; a dash where it has none. */
function hereText({ kind, year }: ViewedQuantity, answer: OutcomeAnswer): string {
  const { retained, survival, separation, measure } = answer;
  if (kind === 'retained-share') {
    const own = retained.find((one) => one.year === year);
    return own?.share == null ? '–' : retainedText({ n: own.n, ...own.share });
  }
  if (kind === 'survival') {
    const own = survival?.turnbull.atYears.find((one) => one.year === year);
    return comparedSurvivalText(own ?? null) ?? '–';
  }
  const { growthClock } = separation;
  if (isRefusal(growthClock)) return '–';
  if (kind === 'lasting') return testedText(growthClock.lasting, (value) => measureText(value, measure.unit));
  return kind === 'forward'
    ? testedText(growthClock.passing, (value) => `${numberText(value, 2)} years`)
    : shareText(growthClock.share);
}
