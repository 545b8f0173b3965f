import { groupShare, type Contrast, type GainPair, type Yardstick } from '../retention';
import type { PatientContrasts } from './patient-outcome';

/** A patient of the year that is judged: the years after treatment of the visit that tells the gain, null for the unseen. */
export interface JudgedPatient {
  readonly code: string;
  readonly seenAt: number | null;
}

/**
 * Lower end of Fieller's set of the retained share of seen and unseen together, if the unseen had kept a share of their
 * gain. Sampling and the uncertainty of the growth reference are in it as in the share of the seen; what the unseen kept is
 * taken as known.
 *
 * @returns null where the set has no lower end, or a patient's gains cannot be found
 */
export function lowerShareOfAll(
  patients: readonly JudgedPatient[],
  contrasts: ReadonlyMap<string, PatientContrasts>,
  unseenShare: number,
  yardstick: Yardstick,
  level: number,
): number | null {
  const pairs = patients.flatMap(({ code, seenAt }): GainPair[] => {
    const found = contrasts.get(code);
    if (found === undefined) return [];
    const { sex, first, later } = found;
    if (seenAt === null) return [{ sex, first, later: scaled(first, unseenShare) }];
    const visit = later.find(({ years }) => years === seenAt);
    return visit === undefined ? [] : [{ sex, first, later: visit.gain }];
  });
  const { share } = groupShare(pairs, yardstick, level);
  if (share === null || pairs.length < patients.length) return null;
  const { interval } = share;
  return interval.kind === 'bounded' || interval.kind === 'at-least' ? interval.lower : null;
}

function scaled(contrast: Contrast, factor: number): Contrast {
  return contrast.map(({ point, weight }) => ({ point, weight: factor * weight }));
}
