/** Where the chin lies along the occlusal line and how it is carried there, mm at natural size. */
export interface ChinReading {
  /** Chin ahead of the perpendicular through sella: pg/OLp. */
  readonly chin: number;
  /** Condyle behind that perpendicular: co/OLp. */
  readonly hinge: number;
  /** Length of the lower jaw from condyle to chin. */
  readonly length: number;
}

/** A change of the chin's position between two visits, split into what carried it; mm, positive forward. */
export interface ChinParts {
  /** Chin forward along the occlusal line. */
  readonly whole: number;
  /** The condyle itself forward. */
  readonly hinge: number;
  /** A longer lower jaw at the same tilt. */
  readonly length: number;
  /** The lower jaw turned about the condyle, chin forward and up. */
  readonly rotation: number;
  /** By how many degrees it turned; positive forward. */
  readonly degrees: number;
}

/**
 * Splits a change of chin position. The chin lies at X = chin + hinge ahead of the condyle, on a jaw of length L whose
 * axis is tilted by theta: X = L cos theta. A change of X is shared out symmetrically, length at the mean cosine and
 * tilt at the mean length, so that the parts sum to the whole exactly; to first order a turn of one degree moves the
 * chin by pi / 180 of its vertical distance from the condyle.
 *
 * @returns null where the chin lies further ahead of the condyle than the jaw is long, which no triangle allows
 */
export function splitChinPosition(before: ChinReading, after: ChinReading): ChinParts | null {
  const from = tilt(before);
  const to = tilt(after);
  if (from === null || to === null) return null;
  return {
    whole: after.chin - before.chin,
    hinge: before.hinge - after.hinge,
    length: ((after.length - before.length) * (from.cosine + to.cosine)) / 2,
    rotation: ((to.cosine - from.cosine) * (before.length + after.length)) / 2,
    degrees: ((Math.acos(from.cosine) - Math.acos(to.cosine)) * 180) / Math.PI,
  };
}

function tilt({ chin, hinge, length }: ChinReading): { readonly cosine: number } | null {
  const cosine = (chin + hinge) / length;
  return length > 0 && Math.abs(cosine) <= 1 ? { cosine } : null;
}
