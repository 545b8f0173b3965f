/**
 * Distances from points to the perpendicular to the occlusal line through sella, mm at natural size: upper and lower
 * jaw base (ss, pg), edges of the upper and lower incisors (is, ii), mesial contacts of the upper and lower first
 * molars (ms, mi). Overjet is is - ii, molar relation ms - mi.
 */
export interface SagittalOcclusalPoints {
  readonly ss: number;
  readonly pg: number;
  readonly is: number;
  readonly ii: number;
  readonly ms: number;
  readonly mi: number;
}

/**
 * A correction of overjet or molar relation between two visits, split into what moved, mm; each part is positive where
 * it makes the relation less distal. The parts sum to the whole.
 */
export interface CorrectionParts {
  /** Fall of the overjet, or of the molar relation towards mesial. */
  readonly whole: number;
  /** Upper jaw base back. */
  readonly upperJaw: number;
  /** Lower jaw base forward. */
  readonly lowerJaw: number;
  /** Upper teeth back within the upper jaw. */
  readonly upperTeeth: number;
  /** Lower teeth forward within the lower jaw. */
  readonly lowerTeeth: number;
}

/**
 * The sagittal-occlusal split of overjet: change of (is - ii) = change of (ss - pg) + change of (is - ss) - change of
 * (ii - pg), with the sign turned so that a correction counts as positive.
 * Source: Pancherz 1982; the sum rule is algebra.
 */
export function splitOverjet(before: SagittalOcclusalPoints, after: SagittalOcclusalPoints): CorrectionParts {
  return split(before, after, 'is', 'ii');
}

/** The same for the molar relation, ms - mi. */
export function splitMolarRelation(
  before: SagittalOcclusalPoints,
  after: SagittalOcclusalPoints,
): CorrectionParts {
  return split(before, after, 'ms', 'mi');
}

function split(
  before: SagittalOcclusalPoints,
  after: SagittalOcclusalPoints,
  upper: 'is' | 'ms',
  lower: 'ii' | 'mi',
): CorrectionParts {
  const change = (point: keyof SagittalOcclusalPoints): number => after[point] - before[point];
  return {
    whole: change(lower) - change(upper),
    upperJaw: -change('ss'),
    lowerJaw: change('pg'),
    upperTeeth: change('ss') - change(upper),
    lowerTeeth: change(lower) - change('pg'),
  };
}
