import { readFileSync } from 'node:fs';
import type { LossRule } from '@longhold/core/survival';
import { readFixture, referencePath, type NumberOrNull } from './fixture';

/** A number with its limits. */
export interface Estimate {
  readonly estimate: number;
  readonly lower: number;
  readonly upper: number;
}

/** A confidence set of a ratio; without limits where it is the whole line. */
export interface RatioSet {
  readonly kind: string;
  readonly lower?: number;
  readonly upper?: number;
}

interface CurveColumns {
  readonly survival: number[];
  readonly lower: number[];
  readonly upper: number[];
}

/** What r/main-job.R says of one measure under one loss rule; lists by year are from one year on. */
export interface SurvivalOfR {
  readonly patients: number;
  readonly losses: number;
  readonly atRisk: number[];
  readonly kaplanMeier: {
    readonly atYears: CurveColumns;
    readonly steps: CurveColumns & { readonly time: number[] };
  };
  readonly turnbull: {
    readonly logLikelihood: number;
    readonly gap: number;
    readonly unique: boolean;
    readonly left: number[];
    readonly right: NumberOrNull[];
    readonly mass: number[];
    readonly atYears: number[];
    readonly ends: { readonly lower: NumberOrNull[]; readonly upper: NumberOrNull[] };
  };
  readonly falseLosses: number;
}

type GainOfR = Estimate & { readonly measurementSd: number; readonly growthSd: number };

/** Follow-up visits of one patient, column by column, in order of time. Null: not given. */
export interface VisitColumns {
  readonly date: string[];
  readonly age: number[];
  readonly years: number[];
  readonly value: number[];
  readonly readings: number[];
  readonly [figure: `${'gain' | 'share' | 'status'}.${string}`]: (number | string | null)[] | undefined;
}

export interface PatientOfR {
  readonly code: string;
  readonly consent: boolean;
  readonly treatedAgainAt: number | null;
  readonly leftOut: string | null;
  /** At the latest follow-up visit. */
  readonly verdict: string;
  readonly gain: GainOfR | null;
  readonly visits: Partial<VisitColumns>;
  readonly loss: Record<LossRule, { readonly left: number; readonly right: number | null }> | null;
}

/** What r/main-job.R says of one measure. */
export interface AnswerOfR {
  readonly measure: string;
  readonly methodError: {
    readonly pairs: number;
    readonly dahlberg: number;
    readonly lower: number;
    readonly upper: number;
    readonly moments: number;
    readonly bias: number;
    readonly biasP: number;
  };
  readonly growth: {
    readonly degreesOfFreedom: number;
    readonly rateSd: number;
    readonly residualSd: number;
    readonly series: {
      readonly sex: string;
      readonly children: number;
      readonly measurements: number;
      readonly ages: [number, number];
    }[];
  } | null;
  readonly gain: { readonly n: number; readonly mean: number; readonly sd: number } & Omit<
    Estimate,
    'estimate'
  >;
  readonly retained: {
    readonly year: number;
    readonly n: number;
    readonly meanGainAtEnd?: number;
    readonly meanGainNow?: number;
    readonly estimate?: number;
    readonly interval?: RatioSet;
  }[];
  readonly above: {
    readonly year: number;
    readonly n: number;
    readonly measured: number | null;
    readonly corrected?: Estimate | null;
  }[];
  readonly survival: Record<LossRule, SurvivalOfR>;
  readonly flow: {
    readonly year: number;
    readonly eligible: number;
    readonly seen: number;
    readonly measured: number;
    readonly notSeen: Record<string, number>;
  }[];
  readonly patients: PatientOfR[];
}

/** Source: nlme, lme4, splines, survival and formulas of docs/methods.md in plain R; see r/main-job.R. */
export const mainJobFixture = readFixture<{
  asOf: string;
  level: number;
  share: number;
  answers: AnswerOfR[];
}>('main-job');

/** The invented study's files, the same bytes that R read. */
export function mainJobFiles(): { patients: string; measurements: string; events: string } {
  const read = (name: string): string => readFileSync(referencePath('data', 'main-job', name), 'utf8');
  return {
    patients: read('patients.csv'),
    measurements: read('measurements.csv'),
    events: read('events.csv'),
  };
}
