import { expectedOutcomes, type ExpectedOutcomes } from './expected';
import {
  DEMO_MEASURES,
  errorSd,
  filmErrorSd,
  LEVELS,
  OVERBITE_CHANGE,
  RESPONSES,
  retracingSd,
  type DemoMeasure,
} from './measure-model';
import * as parameters from './parameters';
import type { TreatedTruth } from './treated-truth';

/** All that was planted in an invented study; written to `truth.json`. Explained in `docs/demo.md`. */
export interface DemoTruth {
  readonly format: 1;
  readonly invented: true;
  readonly note: string;
  readonly asked: { readonly seed: number; readonly patients: number };
  readonly treated: number;
  readonly untreated: number;
  readonly today: string;
  readonly model: Readonly<Record<string, unknown>>;
  /** SD of the error of one film read once, for each measure, before rounding to 0.1, and its two parts. */
  readonly errorSd: Readonly<Record<DemoMeasure, number>>;
  readonly retracingSd: Readonly<Record<DemoMeasure, number>>;
  readonly filmErrorSd: Readonly<Record<DemoMeasure, number>>;
  readonly expected: ExpectedOutcomes;
  readonly patients: readonly TreatedTruth[];
}

/** Gathers the truth of one invented study. */
export function demoTruth(
  asked: DemoTruth['asked'],
  untreated: number,
  patients: readonly TreatedTruth[],
): DemoTruth {
  return {
    format: 1,
    invented: true,
    note: 'Every patient, clinic and number here is invented. Model: docs/demo.md.',
    asked,
    treated: patients.length,
    untreated,
    today: parameters.DEMO_TODAY,
    model: {
      growthCurve: parameters.GROWTH_CURVE,
      ownRateSd: parameters.OWN_RATE_SD,
      ownRatePivot: parameters.OWN_RATE_PIVOT,
      sharedSize: parameters.SHARED_SIZE,
      protocols: parameters.PROTOCOLS,
      clinics: parameters.CLINICS,
      levels: LEVELS,
      responses: RESPONSES,
      toothMovement: parameters.TOOTH_MOVEMENT,
      overbiteChange: OVERBITE_CHANGE,
      treated: parameters.TREATED,
      recall: parameters.RECALL,
      untreatedSeries: parameters.UNTREATED,
      readings: parameters.READINGS,
      growthTable: parameters.GROWTH_TABLE,
      missingness: 'Visits, consent, events and gaps are drawn without regard to the outcome.',
    },
    errorSd: byMeasure(errorSd),
    retracingSd: byMeasure(retracingSd),
    filmErrorSd: byMeasure(filmErrorSd),
    expected: expectedOutcomes(),
    patients,
  };
}

function byMeasure(sdOf: (measure: DemoMeasure) => number): Record<DemoMeasure, number> {
  const sds = {} as Record<DemoMeasure, number>;
  for (const measure of DEMO_MEASURES) sds[measure] = sdOf(measure);
  return sds;
}
