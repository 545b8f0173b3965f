import { createRandom, isRefusal, type Refusal } from '../numeric';
import type { MixedData, NamedColumn, RandomStructure } from './model-data';

/** The answer, or a failed test that shows the refusal. */
export function answered<Answer>(value: Answer | Refusal): Answer {
  if (isRefusal(value)) throw new Error(value.message);
  return value;
}

/** The most common model: a line for all in `time`, each group's own level and, where asked for, its own rate. */
export function lines(
  response: ArrayLike<number>,
  time: ArrayLike<number>,
  labels: ArrayLike<string | number>,
  options: { readonly slopes?: boolean; readonly structure?: RandomStructure } = {},
): MixedData {
  const one: NamedColumn = { name: 'intercept', values: Array.from(time, () => 1) };
  const slope: NamedColumn = { name: 'time', values: time };
  return {
    response,
    fixed: [one, slope],
    random: {
      factor: 'patient',
      labels,
      columns: options.slopes === false ? [one] : [one, slope],
      structure: options.structure ?? 'full',
    },
  };
}

/** Invented patients, unbalanced: 1 to 6 visits at uneven times, own levels (SD 2) and rates (SD 0.5), residual SD 1. */
export function inventedPatients(
  seed: number,
  patients: number,
  sd: { readonly level: number; readonly rate: number; readonly residual: number } = {
    level: 2,
    rate: 0.5,
    residual: 1,
  },
): { response: number[]; time: number[]; label: number[]; centre: number[] } {
  const random = createRandom(seed);
  const columns: { response: number[]; time: number[]; label: number[]; centre: number[] } = {
    response: [],
    time: [],
    label: [],
    centre: [],
  };
  const centreLevels = Array.from({ length: 6 }, () => 1.5 * random.normal());
  for (let patient = 0; patient < patients; patient++) {
    const centre = random.integer(6);
    const level = 40 + sd.level * random.normal() + (centreLevels[centre] ?? 0);
    const rate = 1.2 + sd.rate * random.normal();
    const visits = 1 + random.integer(6);
    for (let visit = 0; visit < visits; visit++) {
      const time = visit + random.uniform();
      columns.response.push(level + rate * time + sd.residual * random.normal());
      columns.time.push(time);
      columns.label.push(patient);
      columns.centre.push(centre);
    }
  }
  return columns;
}
