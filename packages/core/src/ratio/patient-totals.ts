/** What names a patient in a column: equal labels are the same patient. 7 and "7" are two. */
export type PatientLabel = string | number;

/**
 * Rows added up within each patient, patients in the order in which they first appear; without patients the rows as
 * they are. A ratio of sums over rows is the ratio of sums over these totals.
 */
export function patientTotals(columns: {
  readonly numerator: ArrayLike<number>;
  readonly denominator: ArrayLike<number>;
  readonly patient?: ArrayLike<PatientLabel>;
}): { readonly numerator: Float64Array; readonly denominator: Float64Array } {
  const { numerator, denominator, patient } = columns;
  if (patient === undefined) {
    return { numerator: Float64Array.from(numerator), denominator: Float64Array.from(denominator) };
  }
  const places = new Map<PatientLabel, number>();
  for (let row = 0; row < patient.length; row++) {
    const label = patient[row] ?? '';
    if (!places.has(label)) places.set(label, places.size);
  }
  const totals = { numerator: new Float64Array(places.size), denominator: new Float64Array(places.size) };
  for (let row = 0; row < patient.length; row++) {
    const place = places.get(patient[row] ?? '') ?? 0;
    totals.numerator[place] = (totals.numerator[place] ?? 0) + (numerator[row] ?? NaN);
    totals.denominator[place] = (totals.denominator[place] ?? 0) + (denominator[row] ?? NaN);
  }
  return totals;
}
