import { isRefusal } from '@longhold/core/numeric';
import {
  pooledIntervalText,
  pooledSubject,
  pooledValueText,
  type QuantityKind,
  type ViewedMean,
  type ViewedQuantity,
} from '@longhold/core/pooled';
import { findMeasure } from '@longhold/core/measures';
import {
  formatCount,
  formatP,
  formatShare,
  NO_VALUE,
  type Column,
  type DataRow,
  type ForestContext,
  type ForestModel,
} from '@longhold/ui';

/** Written where a result must not be shown. */
export const WITHHELD = 'Withheld';

/** Columns of one kind of result over the years, or of the parts of the gain. */
export function quantityColumns({ measure, ownCentre }: ForestContext): readonly Column<ViewedQuantity>[] {
  const unit = findMeasure(measure)?.unit ?? 'mm';
  const value = (kind: QuantityKind, number: number): string => pooledValueText(kind, number, unit);
  const ofMean = (write: (mean: ViewedMean, kind: QuantityKind) => string) => (quantity: ViewedQuantity) =>
    quantity.twoStage === null
      ? WITHHELD
      : isRefusal(quantity.twoStage)
        ? NO_VALUE
        : write(quantity.twoStage, quantity.kind);
  const numeric = true;
  return [
    {
      key: 'what',
      label: 'Result',
      text: ({ kind, year }) => (year === null ? pooledSubject({ kind, year }) : `Year ${year}`),
      heading: true,
    },
    {
      key: 'patients',
      label: 'Patients',
      text: ({ patients }) => (patients === null ? WITHHELD : formatCount(patients)),
      numeric,
    },
    { key: 'centres', label: 'Centres', text: ofMean(({ centres }) => formatCount(centres)), numeric },
    {
      key: 'mean',
      label: 'Mean over centres',
      text: ofMean(({ estimate, limits }, kind) => {
        const interval = pooledIntervalText(kind, { kind: 'bounded', ...limits }, unit);
        return withInterval(value(kind, estimate), interval);
      }),
      numeric,
    },
    {
      key: 'prediction',
      label: 'A further centre',
      text: ofMean(({ prediction }, kind) =>
        prediction === null ? NO_VALUE : pooledIntervalText(kind, { kind: 'bounded', ...prediction }, unit),
      ),
      numeric,
    },
    {
      key: 'i2',
      label: 'I²',
      text: ofMean(({ iSquared }) => (iSquared === null ? WITHHELD : formatShare(iSquared))),
      numeric,
    },
    {
      key: 'p',
      label: 'p of no difference',
      text: ofMean(({ qP }) => (qP === null ? WITHHELD : formatP(qP))),
      numeric,
    },
    {
      key: 'series',
      label: 'All as one series',
      text: ({ kind, oneStage, between }) =>
        oneStage === null
          ? betweenText(between)
          : isRefusal(oneStage)
            ? NO_VALUE
            : withInterval(value(kind, oneStage.estimate), pooledIntervalText(kind, oneStage.interval, unit)),
      numeric,
    },
    ...(ownCentre === null
      ? []
      : [
          {
            key: 'own',
            label: 'Your clinic (patients)',
            text: ({ kind, own }: ViewedQuantity) =>
              own === null
                ? NO_VALUE
                : `${value(kind, own.estimate)} (${pooledIntervalText(kind, own.interval, unit)}; ${formatCount(own.patients)})`,
            numeric,
          },
        ]),
  ];
}

/** Between which shares a result lies that may not be told itself. */
export function betweenText(limits: ViewedQuantity['between']): string {
  return limits === null ? WITHHELD : `${formatShare(limits.lower)} to ${formatShare(limits.upper)}`;
}

/** An estimate with its interval, broken only between the two. */
function withInterval(estimate: string, interval: string): string {
  return `${estimate} (${interval.replaceAll(' ', '\u00a0')})`;
}

/** What a forest plot draws, for other programs. */
export function forestData({ rows }: ForestModel): DataRow[] {
  return rows.map(({ kind, label, patients, estimate, lower, upper, weight }) => ({
    row: kind,
    label,
    patients: patients === '' ? null : Number(patients.replaceAll(/\D/g, '')),
    estimate,
    lower,
    upper,
    weight,
  }));
}
