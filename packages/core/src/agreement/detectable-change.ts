import { READING, refuse, twoSidedNormal, type Refusal } from '../numeric';
import { checkShare } from './checks';
import { standardDeviationLimits, type Limits } from './variance-limits';

/** Smallest change of one patient that exceeds measurement error with 95 % confidence: 1.96 * sqrt(2) * sd. */
export function smallestDetectableChange(sd: number): number {
  return 1.96 * Math.SQRT2 * sd;
}

/** Smallest detectable change with its interval, in the unit of the measure. */
export interface DetectableChange {
  readonly confidence: number;
  readonly level: number;
  /** Of one patient: z sqrt(2) sd / sqrt(readings). */
  readonly patient: number;
  /** From the chi-squared limits of the sd; null where its degrees of freedom are not given. */
  readonly patientLimits: Limits | null;
  /** Of the mean change of a group: that of a patient / sqrt(groupSize). */
  readonly groupSize: number;
  readonly group: number;
  readonly groupLimits: Limits | null;
}

/** The standard deviation of one reading, and how well it is known. */
export interface ReadingError {
  readonly sd: number;
  /** Degrees of freedom of the sd: pairs for Dahlberg's error, pairs - 1 for the method of moments; null where unknown. */
  readonly df: number | null;
}

/**
 * Smallest change that exceeds measurement error, of one patient and of a group's mean.
 * Only measurement error is in it: the spread of true change between patients is not.
 * Source: Bland and Altman 1999, section 2 (repeatability); de Vet and others 2006 (group).
 *
 * @param options.confidence two-sided, that a change of this size is none of error; 0.95
 * @param options.readings readings whose mean is taken at each of the two times; 1
 * @param options.groupSize patients in the group; 1
 * @param options.level of the interval, which holds the uncertainty of the sd; 0.95
 */
export function detectableChange(
  { sd, df }: ReadingError,
  options: {
    readonly confidence?: number;
    readonly readings?: number;
    readonly groupSize?: number;
    readonly level?: number;
  } = {},
): DetectableChange | Refusal {
  const { confidence = 0.95, readings = 1, groupSize = 1, level = 0.95 } = options;
  const wrong =
    checkShare('confidence', confidence) ??
    checkShare('level', level) ??
    checkPositive('sd', sd) ??
    checkDegrees(df ?? 1) ??
    checkCount('readings', readings) ??
    checkCount('groupSize', groupSize);
  if (wrong !== null) return wrong;
  const perPatient = (twoSidedNormal(confidence) * Math.SQRT2) / Math.sqrt(readings);
  const perGroup = perPatient / Math.sqrt(groupSize);
  const limits = df === null ? null : standardDeviationLimits(sd, df, level);
  return {
    confidence,
    level,
    patient: perPatient * sd,
    patientLimits: scaled(limits, perPatient),
    groupSize,
    group: perGroup * sd,
    groupLimits: scaled(limits, perGroup),
  };
}

function scaled(limits: Limits | null, factor: number): Limits | null {
  return limits === null ? null : { lower: factor * limits.lower, upper: factor * limits.upper };
}

function checkPositive(name: string, value: number): Refusal | null {
  if (value > 0 && READING.holds(value)) return null;
  return refuse('wrong-value', `${name} is ${value}; it must lie between 1e-50 and 1e50.`);
}

function checkDegrees(df: number): Refusal | null {
  if (df >= 1 && df <= 1e6) return null;
  return refuse('wrong-value', `df is ${df}; it must lie between 1 and 1,000,000.`);
}

function checkCount(name: string, value: number): Refusal | null {
  if (Number.isSafeInteger(value) && value >= 1) return null;
  return refuse('wrong-value', `${name} is ${value}; it must be a whole number, 1 or more.`);
}

/**
 * Standard error of measurement from a reliability coefficient: SD sqrt(1 - ICC), in the unit of the SD.
 * SD is that of the readings over subjects in the very sample the coefficient is of; another sample's SD gives another
 * and wrong error. Source: Weir 2005.
 */
export function standardErrorOfMeasurement(sd: number, intraclass: number): number | Refusal {
  const wrong = checkPositive('sd', sd);
  if (wrong !== null) return wrong;
  if (intraclass >= -1 && intraclass <= 1) return sd * Math.sqrt(1 - intraclass);
  return refuse('wrong-value', `The intraclass correlation is ${intraclass}; it must lie between -1 and 1.`);
}
