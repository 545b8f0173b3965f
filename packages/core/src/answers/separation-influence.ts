import { leaveOnePatientOut, type TwoPartFit } from '../separation';
import type { GainRow } from './gain-rows';
import type { ReadModel } from './separate-gain';
import type { Influence, WithoutPatient } from './separation-answer';

/** How far single patients carry the lasting gain and its share; null where nobody can be left out. */
export function influenceOf(model: ReadModel<TwoPartFit>, rows: readonly GainRow[]): Influence | null {
  const series = { patient: rows.map(({ code }) => code), gain: rows.map(({ gain }) => gain) };
  const atEnd = model.meanAt(0).x;
  const left = leaveOnePatientOut(series, model.regressor, model.fit).map(
    ({ patient, lasting, passing }) => ({
      code: String(patient),
      lasting,
      share: lasting / (lasting + passing * atEnd),
    }),
  );
  const lasting = rangeOf(left.map(({ code, lasting: value }) => ({ code, value })));
  const share = rangeOf(left.map(({ code, share: value }) => ({ code, value })));
  return lasting === null || share === null ? null : { lasting, share };
}

/** The lowest and the highest of some results; null for none. */
export function rangeOf(
  values: readonly WithoutPatient[],
): { lowest: WithoutPatient; highest: WithoutPatient } | null {
  const [first] = values;
  if (first === undefined) return null;
  let lowest = first;
  let highest = first;
  for (const candidate of values) {
    if (candidate.value < lowest.value) lowest = candidate;
    if (candidate.value > highest.value) highest = candidate;
  }
  return { lowest, highest };
}
