/**
 * How the variance of a cumulative incidence is estimated:
 * - `greenwood`: delta method with multinomial events among those at risk. For one cause it is Greenwood's formula;
 *   without late entry it is the infinitesimal jackknife, and what survfit of R gives.
 * - `aalen`: delta method with the events of the cause and those of all others as independent counts, each corrected
 *   for its own ties. It is larger where few are at risk, and is what cuminc of R gives.
 * - `jackknife`: infinitesimal jackknife over rows. With late entry it does not need hazards that are the same
 *   whenever a row entered, and is what survfit of R gives.
 */
export type IncidenceVariance = 'greenwood' | 'aalen' | 'jackknife';

/** What happened at one time. */
export interface IncidenceStep {
  /** Event-free survival just before. */
  readonly survivalBefore: number;
  readonly atRisk: number;
  /** Events of all causes. */
  readonly allEvents: number;
  /** Events of the cause in question. */
  readonly causeEvents: number;
}

/** Variances of event-free survival S and of the cumulative incidence F of one cause, and their covariance. */
export interface Covariances {
  survival: number;
  both: number;
  incidence: number;
}

/** Nothing is uncertain yet, or nothing is added. */
export function noCovariances(): Covariances {
  return { survival: 0, both: 0, incidence: 0 };
}

/**
 * Carries the covariances over one time. With a and b the hazards of all causes and of this one, S becomes S (1 - a)
 * and F becomes F + S b; their covariance matrix follows the same linear map and gains S^2 times the covariance of
 * the hazards. Sources: Andersen, Borgan, Gill and Keiding 1993, section IV.4; Gray 1988 (`aalen`).
 *
 * @param covariances before the time; changed in place
 */
export function addStep(covariances: Covariances, step: IncidenceStep, kind: IncidenceVariance): void {
  const { survivalBefore, atRisk, allEvents, causeEvents } = step;
  const { survival, both, incidence } = covariances;
  const own = causeEvents / atRisk;
  const left = (atRisk - allEvents) / atRisk;
  const gain = kind === 'aalen' ? independentCounts(step) : multinomial(step);
  const scale = survivalBefore * survivalBefore;
  covariances.incidence = incidence + 2 * own * both + own * own * survival + scale * gain.incidence;
  covariances.both = left * (both + own * survival) + scale * gain.both;
  covariances.survival = left * left * survival + scale * gain.survival;
}

function multinomial({ atRisk, allEvents, causeEvents }: IncidenceStep): Covariances {
  const all = allEvents / atRisk;
  const own = causeEvents / atRisk;
  const left = (atRisk - allEvents) / atRisk;
  return {
    survival: (all * left) / atRisk,
    both: (-own * left) / atRisk,
    incidence: (own * (1 - own)) / atRisk,
  };
}

function independentCounts({ atRisk, allEvents, causeEvents }: IncidenceStep): Covariances {
  const own = countVariance(causeEvents, atRisk);
  const others = countVariance(allEvents - causeEvents, atRisk);
  return { survival: own + others, both: -own, incidence: own };
}

/** Variance of d / n for a count d. The factor (n - d) / (n - 1) corrects for ties; a single event needs none. */
export function countVariance(d: number, n: number): number {
  const ties = d > 1 ? (n - d) / (n - 1) : 1;
  return (ties * d) / (n * n);
}
