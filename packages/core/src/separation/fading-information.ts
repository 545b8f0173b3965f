import {
  addInformation,
  patientInformation,
  regressorSums,
  weighing,
  type Information,
  type VarianceComponents,
} from './patient-information';

/** Where the fading part is taken: how fast it fades (years), and P, what fades (unit of the measure). */
export interface FadingPlace {
  readonly tau: number;
  readonly passing: number;
}

/** What gains say about T, P and tau: the 3 x 3 information, that of T and P apart. */
export interface FadingInformation {
  readonly parts: Information;
  /** Entries of T with tau, of P with tau, and of tau itself. */
  readonly lastingTau: number;
  readonly passingTau: number;
  readonly tau: number;
}

export const NO_FADING_INFORMATION: FadingInformation = {
  parts: { lasting: 0, both: 0, passing: 0 },
  lastingTau: 0,
  passingTau: 0,
  tau: 0,
};

/**
 * The information of one patient about T, P and tau: X' V^-1 X with X = [1, exp(-t/tau), w], w the derivative of the mean
 * by tau, P t / tau^2 exp(-t/tau), and V = Z G Z' + s^2 I, Z = [1, exp(-t/tau)]. By the Woodbury identity
 * w' V^-1 w = (w'w - (Z'w)' G q) / s^2 with q = (s^2 I + Z'Z G)^-1 Z'w.
 *
 * @param times years since the end of active treatment of the patient's gains
 */
export function fadingInformation(
  times: readonly number[],
  { tau, passing }: FadingPlace,
  components: VarianceComponents,
): FadingInformation {
  const fading = times.map((time) => Math.exp(-time / tau));
  const slope = times.map((time, i) => ((passing * time) / tau ** 2) * (fading[i] ?? NaN));
  const sums = regressorSums(fading);
  const plain = slope.reduce((sum, w) => sum + w, 0);
  const timesFading = slope.reduce((sum, w, i) => sum + w * (fading[i] ?? NaN), 0);
  const squares = slope.reduce((sum, w) => sum + w * w, 0);
  const [lastingTau, passingTau] = weighing(sums, components)(plain, timesFading);
  const { betweenPatients: g, residualVariance } = components;
  const shared =
    plain * (g.lasting * lastingTau + g.both * passingTau) +
    timesFading * (g.both * lastingTau + g.passing * passingTau);
  return {
    parts: patientInformation(sums, components),
    lastingTau,
    passingTau,
    tau: (squares - shared) / residualVariance,
  };
}

/** The same form for a model without tau, such as the growth clock: T and the other part only. */
export function withoutTau(parts: Information): FadingInformation {
  return { ...NO_FADING_INFORMATION, parts };
}

/** The sum of two; `times` -1 takes the second away. */
export function addFadingInformation(
  left: FadingInformation,
  right: FadingInformation,
  times = 1,
): FadingInformation {
  return {
    parts: addInformation(left.parts, right.parts, times),
    lastingTau: left.lastingTau + times * right.lastingTau,
    passingTau: left.passingTau + times * right.passingTau,
    tau: left.tau + times * right.tau,
  };
}

/** What is left for T and P where tau is estimated from the same gains: the Schur complement of tau. */
export function withTauEstimated({ parts, lastingTau, passingTau, tau }: FadingInformation): Information {
  if (!(tau > 0)) return parts;
  return {
    lasting: parts.lasting - lastingTau ** 2 / tau,
    both: parts.both - (lastingTau * passingTau) / tau,
    passing: parts.passing - passingTau ** 2 / tau,
  };
}
