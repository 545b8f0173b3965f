import type { MethodErrorInForce } from '../agreement';
import type { ReferenceDescription } from '../growth';
import type { MeasureDefinition } from '../measures/definition';
import type { IsoDate, MaturityStage, Sex, VisitKind } from '../records';
import type {
  AdjustedGain,
  CoursePoint,
  GroupGain,
  GroupShare,
  Limits,
  ShareAboveThreshold,
  Status,
  Verdict,
} from '../retention';
import type { RatioInterval } from '../ratio';
import type { CensoredInterval, LossRule } from '../survival';
import type { AbsenceAnswer } from './absence-answer';
import type { AnswerRows } from './answer-rows';
import type { CompetingAnswer } from './competing-answer';
import type { CarriedDoubt } from './drawn-losses';
import type { FilmsOfStudy } from './films-of-study';
import type { GaveWayAnswer } from './gave-way-answer';
import type { OutcomeQuestion } from './question';
import type { RecallWorthAnswer } from './recall-worth-answer';
import type { SurvivalGroupsAnswer } from './survival-groups-answer';
import type { MeasuredGain, SeparationAnswer } from './separation-answer';

export type { Limits, RatioInterval, Status, Verdict, MethodErrorInForce };

/** One visit of one treated patient, as used for the question's measure. */
export interface VisitOutcome extends CoursePoint {
  /** Mean of the readings as measured; `value` is at natural size. */
  readonly measured: number;
  /** What lengths on the visit's films were multiplied by; null where the measure is not enlarged. */
  readonly filmFactor: number | null;
  /** Where the value would stand had the child grown as expected from the start value; null without a reference. */
  readonly expected: { readonly value: number; readonly limits: Limits } | null;
  readonly gain: AdjustedGain | null;
  /** Retained share A(t)/A(0) with its Fieller interval; null where A(0) is not measurable. */
  readonly share: { readonly estimate: number; readonly interval: RatioInterval } | null;
  /** Null at the start and at the end of active treatment. */
  readonly status: Status | null;
}

/** Why a treated patient is not in (part of) an answer. */
export type LeftOutReason =
  | 'no-consent'
  | 'no-start-value'
  | 'no-end-value'
  | 'film-factor-unknown'
  | 'no-reference'
  | 'gain-not-measurable'
  | 'gain-below-floor'
  | 'no-follow-up';

/** A visit at which a length was read on a film whose factor is not known, so that its value is not used. */
export interface UnsizedVisit {
  readonly kind: VisitKind;
  readonly date: IsoDate | null;
  /** Years; null where it is not known. */
  readonly age: number | null;
  /** Mean of the readings as measured. */
  readonly measured: number;
}

/** One treated patient's course and outcome under the question. */
export interface PatientOutcome {
  readonly code: string;
  readonly sex: Sex;
  readonly protocol: string | null;
  readonly expansion: boolean | null;
  readonly maturityStart: MaturityStage | null;
  /** Gain of active treatment A(0); null where it cannot be computed. */
  readonly gain: AdjustedGain | null;
  /** In order of age. */
  readonly visits: readonly VisitOutcome[];
  /** Visits whose value is not used because the natural size is not known. */
  readonly unsized: readonly UnsizedVisit[];
  /** Status at the latest follow-up visit. */
  readonly status: Status;
  /** When the gain was lost; null where the patient is not in the risk set, and `leftOut` then says why. */
  readonly loss: CensoredInterval | null;
  /** The same under every loss rule. */
  readonly lossByRule: Readonly<Record<LossRule, CensoredInterval>> | null;
  /** Years since the end of active treatment at which the patient was treated again; null if never. */
  readonly treatedAgainAt: number | null;
  /** Why the patient is not in the risk set of the survival curve; null where in it. */
  readonly leftOut: LeftOutReason | null;
}

/** Retained share of the group in one year's window, (year - 0.5, year + 0.5]. */
export interface RetainedYear extends GroupShare {
  readonly year: number;
  /**
   * Bootstrap limits of the share, patients drawn with both of their gains (bias-corrected and accelerated, else
   * percentiles); they leave out the growth curve's own uncertainty. Null where too few were seen.
   */
  readonly bootstrap: Limits | null;
}

/** How fast the adjusted gain changed between two yearly windows, in patients seen in both. */
export interface ChangeYear extends GroupGain {
  /** Windows: 0 is the end of active treatment. */
  readonly from: number;
  readonly to: number;
}

/** How many of those seen in one year's window still stand above the threshold. */
export interface AboveThresholdYear extends ShareAboveThreshold {
  readonly year: number;
}

/** One step of a survival curve: from `time` (years) on, survival is `survival`. */
export interface CurvePoint {
  readonly time: number;
  readonly survival: number;
  readonly lower: number;
  readonly upper: number;
}

/** Survival read off at a whole year. Null estimate: nobody was followed that long, so nothing can be said. */
export interface SurvivalAtYear {
  readonly year: number;
  readonly estimate: number | null;
  readonly limits: Limits | null;
  /** Patients still followed at that time and not yet seen lost. */
  readonly atRisk: number;
  /**
   * Where the year lies inside an innermost interval, the curve is not defined there: the values at that
   * interval's two ends, between which `estimate` interpolates. Null elsewhere.
   */
  readonly undefinedWithin: Limits | null;
}

/** Survival of the gain under the question's rule. */
export interface SurvivalAnswer {
  /** Patients with a measurable gain and at least one follow-up visit. */
  readonly patients: number;
  readonly losses: number;
  readonly treatedAgain: number;
  /** The interval-censored estimate (Turnbull). Points bracket the innermost intervals; between `left` and `right` of one the curve is not defined. */
  readonly turnbull: {
    readonly intervals: readonly { readonly left: number; readonly right: number; readonly mass: number }[];
    readonly points: readonly CurvePoint[];
    readonly atYears: readonly SurvivalAtYear[];
    readonly converged: boolean;
    readonly iterations: number;
    /** Largest violation of the Karush-Kuhn-Tucker conditions, per patient; 0 is a proven maximum. */
    readonly optimalityGap: number;
    readonly logLikelihood: number;
    readonly resamples: number;
    /** Mean years with the gain of the first `until`; null where ten are not followed for a year. */
    readonly restrictedMean: {
      readonly until: number;
      readonly estimate: number;
      /** How far the places where the curve is not defined can move the estimate. */
      readonly undefinedWithin: Limits;
      /** See `areaLimits`: those of the curve, and how the resampled areas vary. */
      readonly limits: Limits;
    } | null;
  };
  /** What the limits of this and of all interval-censored curves carry besides the chance of who was seen. */
  readonly carried: CarriedDoubt;
  /** The conventional curve, which takes the visit that found the loss for the time of loss. */
  readonly kaplanMeier: {
    readonly points: readonly CurvePoint[];
    readonly atYears: readonly SurvivalAtYear[];
  };
  /** The same patients under each loss rule, with limits as the curve has them (of more than 2,000 patients from fewer resamples). */
  readonly byRule: readonly {
    readonly rule: LossRule;
    readonly losses: number;
    readonly atYears: readonly SurvivalAtYear[];
  }[];
  /** Losses that measurement error alone would be expected to produce if nobody had lost anything. */
  readonly falseLossesExpected: number;
}

/** Why a patient who was due in a year was not seen in it. */
export type NotSeenReason = 'withdrew' | 'moved' | 'declined' | 'treated-again' | 'no-consent' | 'not-known';

/** Who was seen in one year after the end of active treatment. */
export interface FlowYear {
  readonly year: number;
  /** Treated patients whose year's window has closed by the day the records are read. */
  readonly eligible: number;
  readonly seen: number;
  /** Seen and with a usable value of the measure. */
  readonly measured: number;
  readonly notSeen: Readonly<Record<NotSeenReason, number>>;
  /** Visit made, but the measure was not taken, has no natural size or cannot be adjusted for growth. */
  readonly seenNotMeasured: number;
  /** Of these, how many have a length that cannot be used because the factor of the films is not known. */
  readonly seenFactorUnknown: number;
}

/** Something about the answer that its reader must know, in one sentence. */
export interface Warning {
  readonly code:
    | 'few-patients'
    | 'default-method-error'
    | 'method-error-bias'
    | 'film-error-unknown'
    | 'built-in-reference'
    | 'imported-reference'
    | 'reference-extrapolated'
    | 'no-reference'
    | 'film-factor-unknown'
    | 'film-factor-assumed'
    | 'stage-clock'
    | 'few-losses'
    | 'wide-interval'
    | 'curve-not-converged'
    | 'many-missing'
    | 'false-losses';
  /** One plain sentence with the facts in it. */
  readonly detail: string;
}

/** The answer to one outcome question over one study: everything that screens and reports show. */
export interface OutcomeAnswer {
  /** The question with every default and `asOf` filled in. */
  readonly question: OutcomeQuestion;
  readonly asOf: IsoDate | null;
  readonly measure: MeasureDefinition;
  readonly methodError: MethodErrorInForce;
  readonly reference: ReferenceDescription;
  /** Lengths whose films carry no factor of their own. */
  readonly films: FilmsOfStudy;
  /** Treated patients who pass the filter, and untreated patients in the store. */
  readonly treated: number;
  readonly untreated: number;
  /** Mean gain of active treatment; null when fewer than two patients have one. */
  readonly gain: GroupGain | null;
  readonly retained: readonly RetainedYear[];
  /** Change of the adjusted gain a year, unit of the measure, on matched intervals. */
  readonly changes: readonly ChangeYear[];
  /** Under no loss rule, and with measurement error taken out. */
  readonly above: readonly AboveThresholdYear[];
  readonly survival: SurvivalAnswer | null;
  /** Null where nobody is in the risk set. */
  readonly groups: SurvivalGroupsAnswer | null;
  /** Null where nobody is in the risk set. */
  readonly competing: CompetingAnswer | null;
  /** Lasting growth, or growth brought forward. */
  readonly separation: SeparationAnswer;
  /** The measured gains behind `separation`: at the end of active treatment and at every usable visit after it. */
  readonly gains: readonly MeasuredGain[];
  /** What one more visit of each patient would teach. */
  readonly worth: RecallWorthAnswer;
  /** Jaw or teeth: the parts of what was corrected and of what was lost. */
  readonly gaveWay: GaveWayAnswer;
  readonly statusCounts: Readonly<Record<Verdict, number>>;
  readonly flow: readonly FlowYear[];
  /** Those who did not come back: bounds, tipping points, comparison. */
  readonly absence: AbsenceAnswer;
  readonly leftOut: readonly { readonly reason: LeftOutReason; readonly codes: readonly string[] }[];
  readonly patients: readonly PatientOutcome[];
  /** What else the numbers rest on. */
  readonly rows: AnswerRows;
  readonly warnings: readonly Warning[];
}
