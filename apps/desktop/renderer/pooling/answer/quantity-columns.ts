import { findMeasure } from '@longhold/core/measures';
import {
  meanText,
  ofMeanText,
  ownText,
  pooledSubject,
  predictionText,
  seriesText,
  shownCountText,
  shownText,
  type ViewedQuantity,
} from '@longhold/core/pooled';
import {
  formatCount,
  formatP,
  formatShare,
  type Column,
  type DataRow,
  type ForestContext,
  type ForestModel,
} from '@longhold/ui';

/** Columns of one kind of result over the years, or of the parts of the gain. */
export function quantityColumns({ measure, ownCentre }: ForestContext): readonly Column<ViewedQuantity>[] {
  const unit = findMeasure(measure)?.unit ?? 'mm';
  const numeric = true;
  return [
    {
      key: 'what',
      label: 'Result',
      text: ({ kind, year }) => (year === null ? pooledSubject({ kind, year }) : `Year ${year}`),
      heading: true,
    },
    { key: 'patients', label: 'Patients', text: ({ patients }) => shownCountText(patients), numeric },
    {
      key: 'centres',
      label: 'Centres',
      text: (quantity) => ofMeanText(quantity, ({ centres }) => formatCount(centres)),
      numeric,
    },
    { key: 'mean', label: 'Mean over centres', text: (quantity) => meanText(quantity, unit), numeric },
    {
      key: 'prediction',
      label: 'A further centre',
      text: (quantity) => predictionText(quantity, unit),
      numeric,
    },
    {
      key: 'i2',
      label: 'I²',
      text: (quantity) => ofMeanText(quantity, ({ iSquared }) => shownText(iSquared, formatShare)),
      numeric,
    },
    {
      key: 'p',
      label: 'p of no difference',
      text: (quantity) => ofMeanText(quantity, ({ qP }) => shownText(qP, formatP)),
      numeric,
    },
    { key: 'series', label: 'All as one series', text: (quantity) => seriesText(quantity, unit), numeric },
    ...(ownCentre === null
      ? []
      : [
          {
            key: 'own',
            label: 'Your clinic (patients)',
            text: (quantity: ViewedQuantity) => ownText(quantity, unit),
            numeric,
          },
        ]),
  ];
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
