import { NOT_FIXED, shareText, tauText, testedText, type TwoPartAnswer } from '@longhold/core/answers';
import { isRefusal } from '@longhold/core/numeric';
import { formatChange, formatNumber, formatQuantity } from '@longhold/ui';
import type { OutcomeSummary } from '../state/host';
import type { ModelRow } from './grown-columns';

/** What the two models say, line by line. */
export function modelRows({ separation, measure }: OutcomeSummary): ModelRow[] {
  const clock = isRefusal(separation.growthClock) ? null : separation.growthClock;
  const fading = isRefusal(separation.fadingPart) ? null : separation.fadingPart;
  const asGain = (value: number): string => formatChange(value, measure.unit);
  const asYears = (value: number): string => `${formatNumber(value, 2)} years`;
  const both = (name: string, write: (model: TwoPartAnswer) => string): ModelRow => ({
    name,
    clock: formatOrNull(clock, write),
    fading: formatOrNull(fading, write),
  });
  return [
    both('Lasting gain', ({ lasting }) => testedText(lasting, asGain)),
    {
      name: 'Growth brought forward',
      clock: formatOrNull(clock, ({ passing }) => testedText(passing, asYears)),
      fading: null,
    },
    {
      name: 'Fading gain',
      clock: null,
      fading: formatOrNull(fading, ({ passing }) => testedText(passing, asGain)),
    },
    { name: 'Time in which it falls to 37 %', clock: null, fading: formatOrNull(fading, tauText) },
    both(
      'Passing part at the end of treatment',
      whereFixed(({ passingAtEnd }) => asGain(passingAtEnd)),
    ),
    both(
      'Lasting share of the gain',
      whereFixed(({ share }) => shareText(share)),
    ),
    both(
      'Correlation of the two estimates',
      whereFixed(({ correlation }) => formatNumber(correlation, 2)),
    ),
    both(
      'Spread between patients, lasting part',
      whereFixed(({ patientSd }) => formatQuantity(patientSd.lasting, measure.unit)),
    ),
    both('Scatter around a patient’s course', ({ residualSd }) => formatQuantity(residualSd, measure.unit)),
    both('Akaike criterion', ({ aic }) => formatNumber(aic)),
  ];
}

/** Nothing that stands on the split is written where the data do not fix it. */
function whereFixed(write: (model: TwoPartAnswer) => string): (model: TwoPartAnswer) => string {
  return (model) => (model.lasting.limits === null ? NOT_FIXED : write(model));
}

function formatOrNull<Model>(model: Model | null, write: (model: Model) => string): string | null {
  return model === null ? null : write(model);
}
