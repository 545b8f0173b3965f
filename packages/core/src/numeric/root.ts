/**
 * A root of a continuous function between two points where it has opposite signs, by Brent's method: secant and
 * inverse quadratic steps inside a bracket that always shrinks. Source: Brent 1973, chapter 4.
 *
 * @param tolerance absolute, on the place of the root; the default is close to what doubles can tell
 * @returns null where the signs at the two ends are equal or a value is not a number
 */
export function rootBetween(
  f: (x: number) => number,
  low: number,
  high: number,
  tolerance = 1e-13 * Math.max(1, Math.abs(low), Math.abs(high)),
): number | null {
  let best = { x: high, f: f(high) };
  let opposite = { x: low, f: f(low) };
  if (!(Math.sign(best.f) * Math.sign(opposite.f) <= 0)) return null;
  let previous = opposite;
  let step = best.x - opposite.x;
  let stepBefore = step;
  for (let round = 0; round < 200; round++) {
    if (Math.abs(opposite.f) < Math.abs(best.f)) {
      previous = best;
      best = opposite;
      opposite = previous;
    }
    const allowed = 2 * Number.EPSILON * Math.abs(best.x) + tolerance / 2;
    const half = (opposite.x - best.x) / 2;
    if (Math.abs(half) <= allowed || best.f === 0) return best.x;
    const inner = Math.abs(stepBefore) >= allowed ? interpolate(best, opposite, previous) : null;
    const useful =
      inner !== null &&
      Math.abs(inner) < Math.min(1.5 * Math.abs(half) - allowed / 2, Math.abs(stepBefore / 2)) &&
      inner * half > 0;
    stepBefore = useful ? step : half;
    step = useful ? inner : half;
    previous = best;
    const moved = Math.abs(step) > allowed ? step : allowed * Math.sign(half);
    const x = best.x + moved;
    best = { x, f: f(x) };
    if (Number.isNaN(best.f)) return null;
    if (Math.sign(best.f) === Math.sign(opposite.f)) {
      opposite = previous;
      step = best.x - previous.x;
      stepBefore = step;
    }
  }
  return best.x;
}

interface Place {
  readonly x: number;
  readonly f: number;
}

/** Step from the best point by inverse quadratic interpolation, or by the secant where two points coincide. */
function interpolate(best: Place, opposite: Place, previous: Place): number | null {
  if (Math.abs(previous.f) <= Math.abs(best.f)) return null;
  const ratio = best.f / previous.f;
  if (previous.x === opposite.x) return ((opposite.x - best.x) * ratio) / (ratio - 1);
  const first = previous.f / opposite.f;
  const second = best.f / opposite.f;
  const numerator =
    ratio * ((opposite.x - best.x) * first * (first - second) - (best.x - previous.x) * (second - 1));
  return -numerator / ((first - 1) * (second - 1) * (ratio - 1));
}
