import type { Refusal } from '../numeric';
import type { Limits } from '../retention';
import type { Diagnosis, LastingShare } from '../separation';

/** An estimate with its test and interval. */
export interface TestedEstimate {
  readonly estimate: number;
  readonly standardError: number;
  /** Satterthwaite's degrees of freedom; null where the normal distribution is used. */
  readonly df: number | null;
  /** Two-sided, of the value being zero; null where the interval comes with no test of its own (the fading part). */
  readonly p: number | null;
  /** Null where so little is known that no limit can be given: of the variance, or of how fast the fading part fades. */
  readonly limits: Limits | null;
}

/** The mean gain as a model has it at one time after the end of active treatment, in the unit of the measure. */
export interface ModelledGain {
  /** Years since the end of active treatment. */
  readonly years: number;
  /** Both parts are null where the data give them no limits, so that a split would say more than is known. */
  readonly lasting: number | null;
  /** What has not faded yet of the other part. */
  readonly passing: number | null;
  /** Both together, with limits. */
  readonly total: number;
  readonly limits: Limits;
  /** Patients whose gain was measured at that time or later. */
  readonly followed: number;
}

/** What a model with a lasting and a passing part says. */
export interface TwoPartAnswer {
  /** T, unit of the measure. */
  readonly lasting: TestedEstimate;
  /** S, years by which growth was brought forward; or P, what fades, in the unit of the measure. */
  readonly passing: TestedEstimate;
  /** What the passing part is worth at the end of active treatment, unit of the measure. */
  readonly passingAtEnd: number;
  readonly share: LastingShare;
  /** Correlation of the estimates of T and S (or P): close to -1 where the data hardly tell them apart. */
  readonly correlation: number;
  /** SDs of patients' own T and S (or P), and their correlation; null where one SD is zero. */
  readonly patientSd: {
    readonly lasting: number;
    readonly passing: number;
    readonly correlation: number | null;
  };
  readonly residualSd: number;
  /** The data did not carry a correlation of patients' own parts, so it was left out. */
  readonly simplified: boolean;
  /** What is at the edge of what is possible, in sentences. */
  readonly edges: readonly string[];
  /** Full log-likelihood and Akaike's criterion, for comparing the two models. */
  readonly logLikelihood: number;
  readonly aic: number;
  readonly course: readonly ModelledGain[];
}

/** The growth clock's answer. */
export type ClockAnswer = TwoPartAnswer;

/** The fading part's answer. */
export interface FadingAnswer extends TwoPartAnswer {
  /** Years in which the passing part falls to 37 % of itself. */
  readonly tau: number;
  readonly tauLower: number | null;
  readonly tauUpper: number | null;
  /** The data do not fix tau: the best one is the shortest or longest looked at. */
  readonly tauAtEdge: 'shortest' | 'longest' | null;
  /** Whether the data rule out that the part fades too slowly to be told from what lasts; without it no limits. */
  readonly tauBounded: boolean;
}

/** When growth has nearly ended for a sex, so that what was brought forward can hardly show any more. */
export interface QuietAge {
  readonly sex: 'female' | 'male';
  /** Years; null where the reference does not reach so far. */
  readonly age: number | null;
  /** Patients of that sex, and how many of them were measured at that age or later. */
  readonly patients: number;
  readonly seenAfter: number;
}

/** A result with one patient left out. */
export interface WithoutPatient {
  readonly code: string;
  readonly value: number;
}

/** How far single patients carry the result: lowest and highest values with one patient left out. */
export interface Influence {
  readonly lasting: { readonly lowest: WithoutPatient; readonly highest: WithoutPatient };
  readonly share: { readonly lowest: WithoutPatient; readonly highest: WithoutPatient };
}

/** Did treatment give lasting growth, or only bring growth forward? */
export interface SeparationAnswer {
  /** Patients and measured gains in the models: at the end of active treatment and at every usable visit after it. */
  readonly patients: number;
  readonly gains: number;
  /** Patients with a gain after the end of active treatment. */
  readonly followed: number;
  readonly longestYears: number;
  readonly growthClock: ClockAnswer | Refusal;
  readonly fadingPart: FadingAnswer | Refusal;
  /** The model that the reading stands on; the growth clock where the measure grows. */
  readonly readFrom: 'growth-clock' | 'fading-part' | null;
  /** Null where neither model could be fitted. */
  readonly diagnosis: Diagnosis | null;
  readonly quietAges: readonly QuietAge[];
  /** Null where the model that is read could not be fitted, or its lasting part has no limits. */
  readonly influence: Influence | null;
}

/** One measured gain of one patient. */
export interface MeasuredGain {
  readonly code: string;
  /** Years since the end of active treatment; 0 at its end. */
  readonly years: number;
  /** Ages on the growth curve at this visit and at the start, years: ages themselves, or moved by the stage of maturity. */
  readonly age: number;
  readonly startAge: number;
  /** A(t), unit of the measure, favourable direction. */
  readonly gain: number;
  /** d v(age), unit of the measure per year; 0 for a measure that does not grow. */
  readonly velocity: number;
}
